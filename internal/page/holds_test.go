package page_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"binwatchd/internal/farm"
	"binwatchd/internal/page"
)

// A stock-take is a part of the bin's volume, or litres; nothing is no answer.
func TestStockTake(t *testing.T) {
	f := newFake()
	p, err := page.New(f.config())
	if err != nil {
		t.Fatal(err)
	}
	crate, ok := f.farm.BinByName("crate")
	if !ok || crate.VolumeL == 0 {
		t.Fatal("there is no crate of known volume")
	}
	w := httptest.NewRecorder()
	p.ServeHTTP(w, httptest.NewRequest("GET", "http://127.0.0.1/jot?bin=crate&what=holds", nil))
	for _, want := range []string{"¼ full", "½ full", "¾ full", `name="part" value="0.75"`} {
		if !strings.Contains(w.Body.String(), want) {
			t.Errorf("the form lacks %q: %d", want, w.Code)
		}
	}
	for i, tt := range []struct {
		part, amount string
		litres       float64 // 0: refused
	}{{"0.75", "", 0.75 * crate.VolumeL}, {"", "12", 12}, {"", "", 0}, {"7", "", 0}, {"x", "", 0}} {
		form := url.Values{"bin": {"crate"}, "what": {"holds"}, "part": {tt.part}, "amount": {tt.amount}, "unit": {"L"}, "once": {tt.part + tt.amount + "s"}, "back": {"/"}}
		r := httptest.NewRequest("POST", "http://127.0.0.1/jot", strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		w, before := httptest.NewRecorder(), len(f.done())
		p.ServeHTTP(w, r)
		done := f.done()[before:]
		switch {
		case tt.litres == 0 && (w.Code != http.StatusBadRequest || len(done) != 0):
			t.Errorf("%d: got %d and %+v, want it refused", i, w.Code, done)
		case tt.litres > 0 && (len(done) != 1 || done[0].Jot.What != farm.Holds || done[0].Jot.Litres != tt.litres):
			t.Errorf("%d: got %d and %+v, want %g L", i, w.Code, done, tt.litres)
		}
	}
}
