package page_test

import (
	"compress/gzip"
	"encoding/json"
	"image/png"
	"io"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// A phone can keep the page among its apps: the manifest (W3C Web Application Manifest)
// is named, names icons of the sizes that are wanted, and is not behind the login, for a
// browser fetches it without one.
func TestTheManifestIsWhole(t *testing.T) {
	_, p := lockedPage(t)
	login := get(p, "/login").Body.String()
	href := regexp.MustCompile(`<link rel="manifest" href="([^"]+)">`).FindStringSubmatch(login)
	touch := regexp.MustCompile(`<link rel="apple-touch-icon" href="([^"]+)">`).FindStringSubmatch(login)
	if href == nil || touch == nil {
		t.Fatal("the page names no manifest or no touch icon")
	}
	var m struct {
		Name, Short_name, Start_url, Scope, Display, Background_color, Theme_color string
		Icons                                                                      []struct{ Src, Sizes, Type, Purpose string }
	}
	w := get(p, href[1])
	if got := w.Header().Get("Content-Type"); got != "application/manifest+json" {
		t.Errorf("the manifest is sent as %q", got)
	}
	if err := json.Unmarshal(w.Body.Bytes(), &m); err != nil {
		t.Fatal(err)
	}
	for name, value := range map[string]string{"name": m.Name, "short_name": m.Short_name, "background_color": m.Background_color, "theme_color": m.Theme_color} {
		if value == "" {
			t.Errorf("%s is missing", name)
		}
	}
	if m.Start_url != "/" || m.Scope != "/" || m.Display != "standalone" || len(m.Short_name) > 12 {
		t.Errorf("got %+v", m)
	}
	var sizes []string
	for _, icon := range append(m.Icons, struct{ Src, Sizes, Type, Purpose string }{touch[1], "180x180", "image/png", ""}) {
		w := get(p, icon.Src)
		if got := w.Header().Get("Content-Type"); w.Code != http.StatusOK || got != icon.Type {
			t.Errorf("%s: %d, sent as %q", icon.Src, w.Code, got)
		}
		if icon.Type != "image/png" {
			continue
		}
		picture, err := png.Decode(w.Body)
		if err != nil {
			t.Fatalf("%s: %v", icon.Src, err)
		}
		b := picture.Bounds()
		if got := strconv.Itoa(b.Dx()) + "x" + strconv.Itoa(b.Dy()); got != icon.Sizes {
			t.Errorf("%s is %s, not %s", icon.Src, got, icon.Sizes)
		}
		sizes = append(sizes, icon.Sizes)
	}
	if !slices.Contains(sizes, "192x192") || !slices.Contains(sizes, "512x512") {
		t.Errorf("icons of %v; a phone wants 192 and 512", sizes)
	}
}

// Headings go down one step at a time, from the one h1 of a page (WCAG 2.2, technique
// G141).
func TestHeadingsAreInOrder(t *testing.T) {
	p := newPage(t, newFake().config())
	for _, path := range everyPage {
		before := 0
		for _, h := range regexp.MustCompile(`<h([1-6])[ >]`).FindAllStringSubmatch(get(p, path).Body.String(), -1) {
			level := int(h[1][0] - '0')
			if level > before+1 || level == 1 && before != 0 {
				t.Errorf("%s: an h%d after an h%d", path, level, before)
			}
			before = level
		}
		if before == 0 {
			t.Errorf("%s has no heading", path)
		}
	}
}

// All that is text goes out compressed to who takes it (RFC 9110, section 8.4), and says
// the same.
func TestEverythingIsCompressed(t *testing.T) {
	p := newPage(t, newFake().config())
	for _, path := range append([]string{"/static/page.css", "/static/page.js", "/api/now", "/api/rounds"}, everyPage...) {
		plain := get(p, path)
		packed := packedGet(p, path)
		if plain.Header().Get("Content-Encoding") != "" || packed.Header().Get("Content-Encoding") != "gzip" {
			t.Errorf("%s is sent as %q, and as %q", path, plain.Header().Get("Content-Encoding"), packed.Header().Get("Content-Encoding"))
			continue
		}
		if !strings.Contains(packed.Header().Get("Vary"), "Accept-Encoding") {
			t.Errorf("%s varies by %q", path, packed.Header().Get("Vary"))
		}
		size := packed.Body.Len()
		r, err := gzip.NewReader(packed.Body)
		if err != nil {
			t.Fatal(err)
		}
		got, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		if a, b := withoutOnce(string(got)), withoutOnce(plain.Body.String()); a != b {
			t.Errorf("%s differs when packed", path)
		}
		if size > len(got)/2 {
			t.Errorf("%s is not made smaller", path)
		}
	}
}

// withoutOnce blanks what is new in every form.
func withoutOnce(html string) string {
	return regexp.MustCompile(`name="(?:once|listed|since)" value="[^"]*"`).ReplaceAllString(html, "")
}

// packedGet asks as a browser does.
func packedGet(h http.Handler, path string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1:8338"+path, nil)
	r.Header.Set("Accept-Encoding", "gzip, deflate, br, zstd")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}
