package page_test

import (
	"net/http"
	"testing"
)

// The address of a bin that has been renamed leads to its page of now, also after the
// configuration has forgotten the name.
func TestAFormerAddressLeadsToThePage(t *testing.T) {
	f := newFake()
	f.farm.Bins[0].Was = []string{"tub-9"}
	is := f.farm.Bins[0].Name
	h := newPage(t, f.config())
	for path, want := range map[string]string{"/bins/tub-9": "/bins/" + is + "?span=2d", "/bins/box": "/bins/bed?span=2d"} {
		if got := get(h, path); got.Code != http.StatusSeeOther || got.Header().Get("Location") != want {
			t.Errorf("%s: got %d to %s, want %s", path, got.Code, got.Header().Get("Location"), want)
		}
	}
	if got := get(h, "/bins/tub-8"); got.Code != http.StatusNotFound {
		t.Errorf("got %d for a bin that never was", got.Code)
	}
}
