package page_test

import (
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"binwatchd/internal/farm"
)

// FuzzForms sends whatever comes as a form. It is carried out, or refused with
// a 4xx and a sentence; what is carried out is within every bound.
func FuzzForms(f *testing.F) {
	for _, body := range []string{
		"bin=bed&zone=near&what=watered&amount=2&unit=L",
		"bin=bed&what=fed&amount=1%2C5&of=grain&at=2027-07-09T08:30",
		"bin=bed&zone=far&what=sifted&amount=8+L&to=crate&once=x&back=/rounds",
		"bin=trays&for=2h&condition=drying", "id=e1&back=//evil.example", "password=x&next=/",
		"bin=%ff&what=%00", "amount=1e308&bin=bed&what=fed", "a=b&a=c", "%", "", "bin=bed&what=stocked&of=red&amount=NaN",
		"bin=bed&what=turned&at=0000-00-00T00:00", "bin=bed&for=99999999999999999999d",
	} {
		for path := range uint8(4) {
			f.Add(path, body)
		}
	}
	paths := []string{"/jot", "/hush", "/seen", "/login"}
	fk := newFake()
	p := newPage(f, fk.config())
	f.Fuzz(func(t *testing.T, which uint8, body string) {
		fk.change(func(fk *fake) { fk.acts, fk.view = nil, hillfootView() })
		r := httptest.NewRequest(http.MethodPost, paths[int(which)%len(paths)], strings.NewReader(body))
		r.Host = host
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		w := serve(p, r)
		done := fk.done()
		switch {
		case w.Code == http.StatusSeeOther:
			if loc := w.Header().Get("Location"); !strings.HasPrefix(loc, "/") || strings.HasPrefix(loc, "//") || strings.Contains(loc, "\\") {
				t.Errorf("led away to %q", loc)
			}
		case w.Code >= 400 && w.Code < 500:
			if len(done) != 0 {
				t.Errorf("refused with %d, and written all the same", w.Code)
			}
			if !strings.Contains(w.Body.String(), `<p class="lead">`) {
				t.Errorf("status %d without a sentence", w.Code)
			}
		default:
			t.Errorf("status %d: %.200s", w.Code, w.Body)
		}
		for _, e := range done {
			bounded(t, e)
		}
	})
}

// bounded holds an event of a form to what the page promises of it.
func bounded(t *testing.T, e farm.Event) {
	t.Helper()
	j := e.Jot
	switch {
	case e.Kind == farm.EventHush && (!e.Hush.Until.After(noon) || e.Hush.Until.After(ahead(30*day))):
		t.Errorf("hushed until %v", e.Hush.Until)
	case e.Kind != farm.EventJot:
	case math.IsNaN(j.Kg) || math.IsNaN(j.Litres) || j.Kg < 0 || j.Litres < 0 || j.Kg > 2000 || j.Litres > 2000 || j.Kg > 0 && j.Litres > 0:
		t.Errorf("an amount of %v kg and %v L", j.Kg, j.Litres)
	case j.At.After(ahead(10*time.Minute)) || j.At.Before(ago(30*day)):
		t.Errorf("done at %v", j.At)
	case utf8.RuneCountInString(j.Of) > 40 || !utf8.ValidString(j.Of) || strings.ContainsAny(j.Of, "\n\r\x00"):
		t.Errorf("of %q", j.Of)
	}
}

// FuzzAddresses visits whatever comes: it is answered, never with a 5xx, and
// what a stranger wrote into the address comes back as text only.
func FuzzAddresses(f *testing.F) {
	for _, target := range []string{
		"/", "/bins/bed?span=2w", "/bins/%3Cscript%3E", "/probes/bed-m?raw1=1&truth1=2&raw2=3&truth2=4", "/probes/bed-m?raw1=%3Cscript%3E",
		"/jot?bin=bed&what=fed", "/hush?bin=bed&condition=x", "/login?next=//x", "/api/history?zone=bed/near&step=1h", "/static/page.css?v=1",
		"/api/history?zone=crate&from=2027-07-08T00:00:00Z&to=2027-07-09T00:00:00Z", "/bins/..%2f..", "/%00", "/a?<script>",
	} {
		f.Add(target)
	}
	p := newPage(f, newFake().config())
	f.Fuzz(func(t *testing.T, target string) {
		r, err := http.NewRequest(http.MethodGet, "http://"+host+"/", nil)
		if err != nil {
			t.Fatal(err)
		}
		if r.URL, err = r.URL.Parse(target); err != nil || r.URL.Path == "" || r.URL.Path[0] != '/' {
			return // no server is ever asked for it
		}
		w := serve(p, r)
		if w.Code >= 500 {
			t.Errorf("%q: status %d: %.200s", target, w.Code, w.Body)
		}
		if strings.Contains(strings.ToLower(w.Body.String()), "<script>") {
			t.Errorf("%q: its markup came back", target)
		}
	})
}
