package page_test

import (
	"bytes"
	"compress/gzip"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

var livePages = []string{"/", "/rounds", "/probes", "/bins/bed-00"}

// holding asks for a page as its script does that holds an older one.
func holding(h http.Handler, path, page string) *httptest.ResponseRecorder {
	return asking(h, path, holds(page))
}

func asking(h http.Handler, path, held string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1:8338"+path, nil)
	r.Header.Set("Page-Holds", held)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func holds(page string) string {
	var marks []string
	for _, m := range regexp.MustCompile(` data-(?:parts|live)="([^"]*)"`).FindAllStringSubmatch(page, -1) {
		marks = append(marks, m[1])
	}
	return strings.Join(marks, " ")
}

// ids are those of the parts of a page, or of an answer, in order.
func ids(page string) (all []string) {
	for _, m := range regexp.MustCompile(` id="([^"]*)" data-live=`).FindAllStringSubmatch(page, -1) {
		all = append(all, m[1])
	}
	return all
}

// warmer is the farm with another temperature in its first zone.
func (f *fake) warmer() {
	f.change(func(f *fake) {
		f.view.Bins = append([]farm.BinView(nil), f.view.Bins...)
		zones := append([]farm.ZoneView(nil), f.view.Bins[0].Zones...)
		zones[0].Levels = maps.Clone(zones[0].Levels)
		zones[0].Levels[farm.Temperature] = level(31.4, mixedT)
		f.view.Bins[0].Zones = zones
	})
}

// Every part is found, marked and the only one of its name.
func TestEveryPartIsMarked(t *testing.T) {
	for _, f := range []*fake{newFake(), manyZones(24), nursery(40, "linden")} {
		p := newPage(t, f.config())
		for _, path := range append([]string{"/bins/" + f.farm.Bins[0].Name}, livePages[:3]...) {
			page := get(p, path).Body.String()
			marks, names := map[string]bool{}, map[string]bool{}
			for _, m := range strings.Fields(holds(page)) {
				marks[m] = true
			}
			for _, id := range ids(page) {
				names[id] = true
			}
			if n := strings.Count(page, "data-live"); n < 2 || len(names) != n || len(marks) != n+1 || strings.Contains(page, "--------") {
				t.Errorf("%s: %d parts of %d names and, with that of their order, %d marks", path, n, len(names), len(marks))
			}
			order, _, _ := strings.Cut(holds(page), " ")
			if w := asking(p, path, order); !slices.Equal(ids(w.Body.String()), ids(page)) || strings.Contains(w.Body.String(), "<main") {
				t.Errorf("%s: who holds no part gets %v", path, ids(w.Body.String()))
			}
		}
	}
}

// Who holds a page gets what has changed in it and nothing else. A minute on, with
// nothing heard, that is the ages: under a tenth of the page.
func TestOnlyWhatChangedIsSent(t *testing.T) {
	f := manyZones(24)
	p := newPage(t, f.config())
	for _, path := range livePages {
		page := get(p, path)
		if page.Header().Get("Vary") == "" {
			t.Errorf("%s does not say that it varies", path)
		}
		again := holding(p, path, page.Body.String())
		if again.Code != http.StatusNoContent || again.Body.Len() != 0 || again.Header().Get("Cache-Control") != "no-store" {
			t.Errorf("%s, nothing new: status %d, %d bytes", path, again.Code, again.Body.Len())
		}
		f.advance(time.Minute)
		idle := holding(p, path, page.Body.String())
		t.Logf("%s weighs %d bytes; a minute later, nothing heard, %d", path, page.Body.Len(), idle.Body.Len())
		if idle.Code > http.StatusNoContent || idle.Body.Len() > page.Body.Len()/10 || strings.Contains(idle.Body.String(), "<main") {
			t.Errorf("%s, a minute later: status %d, %d bytes of %d", path, idle.Code, idle.Body.Len(), page.Body.Len())
		}
	}

	page := get(p, "/").Body.String()
	f.warmer()
	changed := holding(p, "/", page).Body.String()
	if !strings.Contains(changed, "31.4 °C") || len(changed) > len(page)/5 {
		t.Errorf("one temperature changed, and %d bytes of %d came:\n%.200s", len(changed), len(page), changed)
	}
	f.change(func(f *fake) { f.view.Bins = f.view.Bins[1:] })
	if less := holding(p, "/", page).Body.String(); !strings.Contains(less, "<main") {
		t.Errorf("with a bin less the page did not come whole: %.200s", less)
	}
	page = get(p, "/").Body.String()
	order, _, _ := strings.Cut(holds(page), " ")
	if w := asking(p, "/", order+strings.Repeat(" x", 10_000)+" "+holds(page)); !slices.Equal(ids(w.Body.String()), ids(page)) {
		t.Errorf("more is looked at than a header of a page's script: %d parts come", len(ids(w.Body.String())))
	}
	for _, header := range []string{"", "nothing", strings.Repeat("x ", 3000), holds(page)[1:]} {
		if w := asking(p, "/", header); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "<main") {
			t.Errorf("to one who holds %.20q no page came: status %d", header, w.Code)
		}
	}
}

// A reverse proxy in between does no harm, nor does one that drops the header, and what
// comes is compressed.
func TestChangesThroughAProxy(t *testing.T) {
	f := manyZones(24)
	s := server(t, newPage(t, f.config()))
	to, err := url.Parse(s.URL)
	if err != nil {
		t.Fatal(err)
	}
	for _, drops := range []bool{false, true} {
		proxy := server(t, &httputil.ReverseProxy{Rewrite: func(r *httputil.ProxyRequest) {
			r.SetURL(to)
			r.Out.Host = r.In.Host
			if drops {
				r.Out.Header.Del("Page-Holds")
			}
		}})
		ask := func(held string) string {
			r, err := http.NewRequest(http.MethodGet, proxy.URL, nil)
			if err != nil {
				t.Fatal(err)
			}
			r.Header.Set("Accept-Encoding", "gzip")
			r.Header.Set("Page-Holds", held)
			w, err := http.DefaultTransport.RoundTrip(r)
			if err != nil {
				t.Fatal(err)
			}
			defer w.Body.Close()
			var body io.Reader = w.Body
			if w.Header.Get("Content-Encoding") == "gzip" {
				if body, err = gzip.NewReader(w.Body); err != nil {
					t.Fatal(err)
				}
			}
			var b bytes.Buffer
			if _, err := b.ReadFrom(body); err != nil {
				t.Fatal(err)
			}
			return b.String()
		}
		page := ask("")
		f.warmer()
		if got := ask(holds(page)); strings.Contains(got, "<main") != drops || !strings.Contains(got, "31.4 °C") {
			t.Errorf("through a proxy, drops the header: %v: %d bytes", drops, len(got))
		}
		f.change(func(f *fake) { f.view = manyZones(24).view })
	}
}
