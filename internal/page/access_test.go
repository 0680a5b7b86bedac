package page_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/page"
	"binwatchd/internal/page/auth"
)

const password = "compost heap"

func lockedPage(t *testing.T) (*fake, *page.Page) {
	t.Helper()
	f := newFake()
	cfg := f.config()
	hash, err := auth.HashPassword(password)
	if err != nil {
		t.Fatal(err)
	}
	cfg.Password = hash + "\n"
	return f, newPage(t, cfg)
}

func session(w *httptest.ResponseRecorder) *http.Cookie {
	for _, c := range w.Result().Cookies() {
		if strings.HasSuffix(c.Name, "binwatch") {
			return c
		}
	}
	return nil
}

// with sends a request with a session.
func with(h http.Handler, c *http.Cookie, r *http.Request) *httptest.ResponseRecorder {
	r.AddCookie(c)
	return serve(h, r)
}

func TestCheckIsTheDoors(t *testing.T) {
	if err := page.Check("127.0.0.1:8338", false); err != nil {
		t.Error(err)
	}
	if err := page.Check("0.0.0.0:8338", false); err == nil {
		t.Error("beyond loopback without a password")
	}
}

func TestLockedPageShowsNothing(t *testing.T) {
	f, p := lockedPage(t)
	for _, path := range []string{"/", "/bins/bed", "/rounds", "/probes", "/jot?bin=bed&zone=near", "/hush?bin=bed", "/nowhere"} {
		w := get(p, path)
		if want := "/login?next=" + url.QueryEscape(path); w.Code != http.StatusSeeOther || w.Header().Get("Location") != want {
			t.Errorf("%s: status %d to %q, want 303 to %q", path, w.Code, w.Header().Get("Location"), want)
		}
	}
	for _, path := range []string{"/api/now", "/api/rounds", "/api/history?zone=bed/near"} {
		w := get(p, path)
		if w.Code != http.StatusUnauthorized || w.Header().Get("Content-Type") != "application/json" {
			t.Errorf("%s: status %d, %s", path, w.Code, w.Header().Get("Content-Type"))
		}
		wantAll(t, w.Body.String(), `"error": "Log in first`)
	}
	for _, path := range []string{"/jot", "/hush", "/seen", "/logout"} {
		w := post(p, path, form("bin", "bed", "what", "turned", "for", "2h", "id", "e1"))
		if w.Code != http.StatusUnauthorized {
			t.Errorf("POST %s: status %d", path, w.Code)
		}
		wantNone(t, w.Body.String(), "Hillfoot")
	}
	wantNone(t, get(p, "/login").Body.String(), "Hillfoot")
	wantNone(t, get(p, "/"+strings.Repeat("a", 3000)).Body.String(), "Hillfoot")
	if n := len(f.done()); n != 0 {
		t.Errorf("%d events written by strangers", n)
	}
}

func TestLogin(t *testing.T) {
	f, p := lockedPage(t)
	w := post(p, "/login", form("password", "wrong", "next", "/rounds"))
	if w.Code != http.StatusUnauthorized || session(w) != nil {
		t.Fatalf("wrong password: status %d, cookie %v", w.Code, session(w))
	}
	wantAll(t, w.Body.String(), "That is not the password.", `value="/rounds"`)
	wantNone(t, f.log(), "wrong")

	w = post(p, "/login", form("password", password, "next", "/rounds"))
	c := session(w)
	if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/rounds" || c == nil {
		t.Fatalf("status %d to %q, cookie %v", w.Code, w.Header().Get("Location"), c)
	}
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/" || c.Domain != "" || c.Secure {
		t.Errorf("cookie %+v", c)
	}
	if w := with(p, c, request(http.MethodGet, "/", nil)); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "Log out") {
		t.Errorf("inside: status %d", w.Code)
	}
	if w := with(p, c, request(http.MethodGet, "/api/now", nil)); w.Code != http.StatusOK {
		t.Errorf("inside, /api/now: status %d", w.Code)
	}
	f.advance(auth.SessionLife + time.Hour)
	if w := with(p, c, request(http.MethodGet, "/", nil)); w.Code != http.StatusSeeOther {
		t.Errorf("after a month unused: status %d", w.Code)
	}
}

// A line whose writer's login has run out waits in the form of the login, also through a
// wrong password, and is written under the name that is given there.
func TestALineOutlivesTheLogin(t *testing.T) {
	f, p := lockedPage(t)
	line := form("bin", "bed", "zone", "near", "what", "noted", "words", "lid open;\nmice?", "once", "a", "back", "/rounds")
	w := post(p, "/jot", line)
	if w.Code != http.StatusUnauthorized {
		t.Fatalf("status %d, want 401", w.Code)
	}
	wantAll(t, w.Body.String(), "Your login has run out. What you wrote waits here", `name="words" value="lid open; ; mice?"`, `name="next" value="/rounds"`)
	line.Set("password", "wrong")
	w = post(p, "/login", line)
	wantAll(t, w.Body.String(), "That is not the password.", "What you wrote waits here", `name="what" value="noted"`)
	wantNone(t, w.Body.String(), `value="wrong"`)
	if n := len(f.done()); n != 0 {
		t.Fatalf("%d lines were written without a login", n)
	}
	line.Set("password", password)
	line.Set("who", "Ann")
	w = post(p, "/login", line)
	if got := f.done(); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/rounds" || session(w) == nil || len(got) != 1 || got[0].Jot.By != "Ann" {
		t.Fatalf("status %d to %q, did %+v", w.Code, w.Header().Get("Location"), got)
	}
	r := request(http.MethodPost, "/jot", form("bin", "bed", "what", "turned"))
	if with(p, session(w), r); len(f.done()) != 2 || f.done()[1].Jot.By != "Ann" {
		t.Errorf("did %+v, want the second by Ann", f.done())
	}
}

func TestLogout(t *testing.T) {
	_, p := lockedPage(t)
	c := session(post(p, "/login", form("password", password)))
	if w := with(p, c, request(http.MethodPost, "/logout", url.Values{})); w.Code != http.StatusSeeOther || session(w).MaxAge >= 0 {
		t.Errorf("status %d, cookie %v", w.Code, session(w))
	}
	if w := with(p, c, request(http.MethodGet, "/", nil)); w.Code != http.StatusSeeOther {
		t.Errorf("the old cookie still opens: status %d", w.Code)
	}
}

func TestTLSCookie(t *testing.T) {
	cfg := newFake().config()
	cfg.Password, cfg.TLS = password, true
	c := session(post(newPage(t, cfg), "/login", form("password", password)))
	if c == nil || !c.Secure || c.Name != "__Host-binwatch" || c.Path != "/" || c.Domain != "" {
		t.Errorf("cookie %+v; a __Host- cookie is Secure, of path / and without a domain (RFC 6265bis §4.1.3.2)", c)
	}
}

// TestGuessing: five tries, then one a minute, by the injected clock; the right
// password during the wait is not weighed, and after it opens.
func TestGuessing(t *testing.T) {
	f, p := lockedPage(t)
	for range 5 {
		post(p, "/login", form("password", "guess"))
	}
	w := post(p, "/login", form("password", password))
	if w.Code != http.StatusTooManyRequests || w.Header().Get("Retry-After") == "" || session(w) != nil {
		t.Fatalf("sixth try: status %d, Retry-After %q", w.Code, w.Header().Get("Retry-After"))
	}
	wantAll(t, w.Body.String(), "Too many tries")
	other := request(http.MethodPost, "/login", form("password", password))
	other.RemoteAddr = "198.51.100.9:1234"
	if w := serve(p, other); w.Code != http.StatusSeeOther {
		t.Errorf("from another address: status %d", w.Code)
	}
	f.advance(time.Minute)
	if w := post(p, "/login", form("password", password)); w.Code != http.StatusSeeOther {
		t.Errorf("a minute later: status %d", w.Code)
	}
}

// TestNextStaysHere: no address after the login leads to another site.
func TestNextStaysHere(t *testing.T) {
	_, p := lockedPage(t)
	for _, next := range []string{
		"https://evil.example/", "//evil.example/", "/\\evil.example/", "\\\\evil.example", "/\t/evil.example", "javascript:alert(1)",
		"evil", "", "/%zz", strings.Repeat("/a", 150),
	} {
		r := request(http.MethodPost, "/login", form("password", password, "next", next))
		w := serve(p, r)
		if loc := w.Header().Get("Location"); w.Code == http.StatusSeeOther && loc != "/" {
			t.Errorf("next %q leads to %q", next, loc)
		}
	}
	f := newFake()
	open := newPage(t, f.config())
	if loc := post(open, "/jot", form("bin", "bed", "what", "turned", "back", "//evil.example")).Header().Get("Location"); loc != "/" {
		t.Errorf("back leads to %q", loc)
	}
	if loc := get(open, "/login?next=/rounds").Header().Get("Location"); loc != "/rounds" {
		t.Errorf("without a lock the login leads to %q", loc)
	}
}

// TestOtherSites: what a browser sends for another site is refused, whatever it
// would have done (Fetch Metadata, W3C 2023; Origin, RFC 6454 §7).
func TestOtherSites(t *testing.T) {
	tests := []struct {
		name   string
		header map[string]string
		ok     bool
	}{
		{"ours", map[string]string{"Sec-Fetch-Site": "same-origin"}, true},
		{"typed", map[string]string{"Sec-Fetch-Site": "none"}, true},
		{"no browser", nil, true},
		{"old browser, ours", map[string]string{"Origin": "http://" + host}, true},
		{"cross-site", map[string]string{"Sec-Fetch-Site": "cross-site"}, false},
		{"neighbour", map[string]string{"Sec-Fetch-Site": "same-site"}, false},
		{"old browser, other", map[string]string{"Origin": "http://evil.example"}, false},
		{"hidden origin", map[string]string{"Origin": "null"}, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := newFake()
			p := newPage(t, f.config())
			for _, path := range []string{"/jot", "/hush", "/seen"} {
				r := request(http.MethodPost, path, form("bin", "bed", "what", "turned", "for", "2h", "id", "e1"))
				for k, v := range tt.header {
					r.Header.Set(k, v)
				}
				w := serve(p, r)
				if ok := w.Code == http.StatusSeeOther; ok != tt.ok {
					t.Errorf("%s: status %d", path, w.Code)
				}
				if !tt.ok {
					wantAll(t, w.Body.String(), "another site")
				}
			}
			if wrote := len(f.done()) > 0; wrote != tt.ok {
				t.Errorf("wrote: %v", wrote)
			}
		})
	}
}

// TestBorrowedNames: an open page answers to addresses and localhost, and not
// to a name that another site may have pointed here.
func TestBorrowedNames(t *testing.T) {
	open := newPage(t, newFake().config())
	_, locked := lockedPage(t)
	for name, ok := range map[string]bool{
		"127.0.0.1:8338": true, "localhost:8338": true, "localhost": true, "[::1]:8338": true, "[::1]": true, "192.168.1.9": true,
		"evil.example:8338": false, "localhost.evil.example": false, "127.0.0.1.evil.example:8338": false, "": false,
	} {
		r := request(http.MethodGet, "/api/now", nil)
		r.Host = name
		if w := serve(open, r); (w.Code == http.StatusOK) != ok {
			t.Errorf("open page as %q: status %d", name, w.Code)
		}
		r = request(http.MethodGet, "/login", nil)
		r.Host = name
		if w := serve(locked, r); w.Code != http.StatusOK {
			t.Errorf("locked page as %q: status %d", name, w.Code)
		}
	}
}

func TestHeaders(t *testing.T) {
	p := newPage(t, newFake().config())
	for _, path := range []string{"/", "/nowhere", "/api/now", "/static/page.css"} {
		h := get(p, path).Header()
		for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "same-origin"} {
			if h.Get(name) != want {
				t.Errorf("%s: %s is %q, want %q", path, name, h.Get(name), want)
			}
		}
		csp := h.Get("Content-Security-Policy")
		if !strings.HasPrefix(csp, "default-src 'none';") || strings.Contains(csp, "unsafe") || strings.Contains(csp, "*") || strings.Contains(csp, "http") {
			t.Errorf("%s: policy %q", path, csp)
		}
	}
	body := get(p, "/").Body.String()
	for _, inline := range []string{" style=", "<style", "onclick", "javascript:", "<script>"} {
		if strings.Contains(body, inline) {
			t.Errorf("the page holds %q, which its own policy forbids", inline)
		}
	}
}

func TestStatic(t *testing.T) {
	p := newPage(t, newFake().config())
	body := get(p, "/").Body.String()
	_, rest, _ := strings.Cut(body, `<link rel="stylesheet" href="`)
	css, _, _ := strings.Cut(rest, `"`)
	w := get(p, css)
	if w.Code != http.StatusOK || w.Header().Get("Content-Type") != "text/css; charset=utf-8" || !strings.Contains(w.Header().Get("Cache-Control"), "immutable") {
		t.Errorf("%s: status %d, %v", css, w.Code, w.Header())
	}
	r := request(http.MethodGet, "/static/page.css", nil)
	r.Header.Set("If-None-Match", w.Header().Get("ETag"))
	if w := serve(p, r); w.Code != http.StatusNotModified {
		t.Errorf("with its mark: status %d", w.Code)
	}
	if w := get(p, "/static/page.css?v=old"); strings.Contains(w.Header().Get("Cache-Control"), "immutable") {
		t.Error("an old mark is kept for ever")
	}
	for _, path := range []string{"/static/", "/static/none.css", "/static/..%2fpage.go", "/static/%2e%2e/doc.go"} {
		if w := get(p, path); w.Code == http.StatusOK {
			t.Errorf("%s is served", path)
		}
	}
}

func TestWrongMethodsAndPlaces(t *testing.T) {
	p := newPage(t, newFake().config())
	tests := []struct {
		method, path string
		status       int
	}{
		{http.MethodGet, "/nowhere", 404}, {http.MethodGet, "/bins/", 404}, {http.MethodGet, "/seen", 404},
		{http.MethodPost, "/rounds", 405}, {http.MethodPut, "/", 405}, {http.MethodDelete, "/bins/bed", 405},
		{http.MethodHead, "/", 200}, {http.MethodGet, "/?" + strings.Repeat("a", 3000), 414},
	}
	for _, tt := range tests {
		r := httptest.NewRequest(tt.method, tt.path, nil)
		r.Host = host
		if w := serve(p, r); w.Code != tt.status {
			t.Errorf("%s %.30s: status %d, want %d", tt.method, tt.path, w.Code, tt.status)
		}
	}
}

func TestFormsAreBounded(t *testing.T) {
	p := newPage(t, newFake().config())
	send := func(kind, body string) *httptest.ResponseRecorder {
		r := httptest.NewRequest(http.MethodPost, "/jot", strings.NewReader(body))
		r.Host = host
		r.Header.Set("Content-Type", kind)
		return serve(p, r)
	}
	const urlencoded = "application/x-www-form-urlencoded"
	many := ""
	for i := range 40 {
		many += fmt.Sprintf("f%d=1&", i)
	}
	tests := []struct {
		name, kind, body string
		status           int
	}{
		{"JSON", "application/json", `{"bin":"bed"}`, 415},
		{"plain", "text/plain", "bin=bed&what=turned", 415},
		{"multipart", "multipart/form-data; boundary=x", "--x--", 415},
		{"no kind", "", "bin=bed&what=turned", 415},
		{"too large", urlencoded, "of=" + strings.Repeat("a", 10_000), 413},
		{"too many fields", urlencoded, many, 400},
		{"twice", urlencoded, "bin=bed&bin=crate&what=turned", 400},
		{"torn", urlencoded, "bin=%zz", 400},
	}
	for _, tt := range tests {
		if w := send(tt.kind, tt.body); w.Code != tt.status {
			t.Errorf("%s: status %d, want %d", tt.name, w.Code, tt.status)
		}
	}
}

func TestGuard(t *testing.T) {
	_, p := lockedPage(t)
	h := p.Guard(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "figures") }))
	if w := get(h, "/metrics"); strings.Contains(w.Body.String(), "figures") {
		t.Error("a stranger reads the figures")
	}
	c := session(post(p, "/login", form("password", password)))
	if w := with(h, c, request(http.MethodGet, "/metrics", nil)); w.Body.String() != "figures" {
		t.Errorf("the keeper reads %q", w.Body)
	}
}

// TestPanicIsAnAnswer: whatever breaks in a page is answered and logged.
func TestPanicIsAnAnswer(t *testing.T) {
	f := newFake()
	cfg := f.config()
	cfg.Look = func() (farm.View, bool) { panic("worms everywhere") }
	w := get(newPage(t, cfg), "/")
	if w.Code != http.StatusInternalServerError || strings.Contains(w.Body.String(), "worms") {
		t.Errorf("status %d: %s", w.Code, w.Body)
	}
	wantAll(t, f.log(), "worms everywhere")
}

func TestBadPasswordFileIsAnError(t *testing.T) {
	cfg := newFake().config()
	cfg.Password = "$argon2id$v=19$torn"
	if _, err := page.New(cfg); err == nil || strings.Contains(err.Error(), "torn") {
		t.Errorf("New: %v", err)
	}
}

func TestPlainPasswordIsPointedOut(t *testing.T) {
	f := newFake()
	cfg := f.config()
	cfg.Password = password
	p := newPage(t, cfg)
	wantAll(t, f.log(), "plain text")
	wantNone(t, f.log(), password)
	if w := post(p, "/login", form("password", password)); w.Code != http.StatusSeeOther {
		t.Errorf("status %d", w.Code)
	}
}
