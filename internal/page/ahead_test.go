package page_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/page"
)

// What comes stands there by day, and the castings as a curve with what it says in words.
func TestWhatComesIsShownByDay(t *testing.T) {
	f := newFake()
	cfg := f.config()
	on := f.now.Truncate(day)
	coming := farm.Ahead{At: f.now, Until: on.Add(90 * day), Comes: []farm.Coming{
		{ID: "bed/near/water/0", Kind: farm.ComesWater, Bin: "bed", Zone: "near", On: on.Add(2 * day), Text: "Bed, near: water about 2 litres, as usual"},
		{ID: "bed/near/food/0", Kind: farm.ComesFood, Bin: "bed", Zone: "near", On: on.Add(2 * day), Text: "Bed, near: food <about> 1 kg"},
		{ID: "crate/all/hatching/0", Kind: farm.ComesHatching, Bin: "crate", Zone: "all", On: on.Add(20 * day), Text: "Crate: cocoons due"},
	}}
	for i := range 14 {
		l := 60 + 5*float64(i)
		coming.Castings = append(coming.Castings, farm.CastingsPoint{At: f.now.Add(time.Duration(7*i) * day), Litres: l, LowL: l - float64(i), HighL: l + 2*float64(i)})
	}
	coming.Needs = []farm.NeedView{{WantedL: 50, By: on.Add(40 * day), Text: "Enough."}, {WantedL: 80, By: on.Add(60 * day), For: "the <plant> sale", Text: "Enough."}}
	coming.Sources = []farm.CastingsSource{{Bin: "crate", Litres: 60, Text: "Crate: about 60 litres kept"}}
	cfg.Ahead = func() (farm.Ahead, bool) { return coming, true }
	p, err := page.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	get := func(path string) string {
		w := httptest.NewRecorder()
		r := httptest.NewRequest("GET", "http://127.0.0.1"+path, nil)
		p.ServeHTTP(w, r)
		if w.Code != http.StatusOK {
			t.Fatalf("%s: got %d: %s", path, w.Code, w.Body)
		}
		return w.Body.String()
	}
	body := get("/ahead")
	for _, want := range []string{"as usual", "food &lt;about&gt; 1 kg", "cocoons due", "about 60 litres kept", "<svg", "Castings in tubs: about 60 litres now, 110 to 150 litres by ",
		"<title>about 50 litres wanted by 18 August</title>", "<title>about 80 litres wanted by 7 September for the &lt;plant&gt; sale</title>"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %q:\n%s", want, body)
		}
	}
	if n := strings.Count(body, "<h2>"); n != 3 {
		t.Errorf("%d headings, want two days and the castings", n)
	}
	if !strings.Contains(get("/api/ahead"), `"id": "bed/near/water/0"`) || !strings.Contains(get("/rounds"), `href="/ahead"`) {
		t.Error("programs, or the rounds, don't find it")
	}
	coming.Comes, coming.Castings, coming.Sources = nil, nil, nil
	if body := get("/ahead"); !strings.Contains(body, "Nothing is known to come") || strings.Contains(body, "<svg class=\"cut") {
		t.Errorf("got %s", body)
	}
}

// The calendar is read with its key alone, without a session, by nobody who has another;
// it is kept nowhere, and no log has the key.
func TestCalendarNeedsItsKey(t *testing.T) {
	const key = "q7Jx0vD3mWk9sTfL2bYcR8"
	f := newFake()
	cfg, now := f.config(), key
	cfg.Password, cfg.CalendarKey = "gardening-gloves", func() string { return now }
	cfg.Calendar = func() ([]byte, bool) { return []byte("BEGIN:VCALENDAR\r\n"), !f.blind }
	p, err := page.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	get := func(path, method string) *httptest.ResponseRecorder {
		w := httptest.NewRecorder()
		p.ServeHTTP(w, httptest.NewRequest(method, path, nil))
		return w
	}
	for _, tt := range []struct {
		path, method string
		status       int
	}{
		{"/calendar/" + key + ".ics", "GET", 200}, {"/calendar/" + key, "GET", 200}, {"/calendar/" + key, "HEAD", 200},
		{"/calendar/" + key[1:], "GET", 404}, {"/calendar/", "GET", 303}, {"/calendar/.ics", "GET", 404}, {"/calendar/" + key + "x", "GET", 404},
		{"/calendar/" + key, "POST", 401},
	} {
		w := get(tt.path, tt.method)
		if w.Code != tt.status {
			t.Errorf("%s %s: got %d, want %d", tt.method, tt.path, w.Code, tt.status)
		}
		if tt.status == 303 || tt.status == 401 {
			continue
		}
		if h := w.Header(); h.Get("Cache-Control") != "no-store" || h.Get("Referrer-Policy") != "no-referrer" {
			t.Errorf("%s: got the headers %v", tt.path, h)
		}
		if given := strings.TrimSuffix(strings.TrimPrefix(tt.path, "/calendar/"), ".ics"); tt.status == 404 && given != "" && strings.Contains(w.Body.String(), given) {
			t.Errorf("%s: the answer quotes the key that was tried", tt.path)
		}
	}
	if kind := get("/calendar/"+key, "GET").Header().Get("Content-Type"); kind != "text/calendar; charset=utf-8" {
		t.Errorf("got the kind %q", kind)
	}
	f.blind = true
	if w := get("/calendar/"+key, "GET"); w.Code != 503 {
		t.Errorf("before anything was judged: got %d", w.Code)
	}
	f.blind, now = false, "A-new-one-0123456789xyz" // the file was changed
	if w := get("/calendar/"+key, "GET"); w.Code != 404 {
		t.Errorf("with the key of before: got %d", w.Code)
	}
	for _, off := range []string{"", "short", strings.Repeat("ab", 20)} {
		now = off
		if w := get("/calendar/"+off, "GET"); w.Code == 200 {
			t.Errorf("with the key %q: got %d", off, w.Code)
		}
	}
	cfg.Calendar = func() ([]byte, bool) { panic("of ours") }
	if p, err = page.New(cfg); err != nil {
		t.Fatal(err)
	}
	now = key
	get("/calendar/"+key, "GET")
	if log := f.log(); !strings.Contains(log, "of ours") || strings.Contains(log, key) {
		t.Errorf("the log has the key, or not the panic: %s", log)
	}
}

func TestKeysThatAreEasilyGuessed(t *testing.T) {
	for key, good := range map[string]bool{
		"": false, "0123456789abcdef": false, "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa": false, "not a key with blanks in it": false, "9f8e7d6c5b4a39281706f5e4d3c2b1a0": true, "q7Jx0vD3mWk9sTfL2bYcR8": true,
	} {
		if err := page.CheckKey(key); (err == nil) != good {
			t.Errorf("%q: got %v", key, err)
		}
	}
}
