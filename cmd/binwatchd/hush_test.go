package main

import (
	"testing"

	"binwatchd/internal/farm"
)

// A bin, a zone or all bins of a place are kept quiet; what is both a bin and a place is the bin.
func TestWhatIsKeptQuiet(t *testing.T) {
	one := []farm.Zone{{Name: "all"}}
	f := &farm.Farm{
		Rooms: []farm.Room{{Name: "linden"}, {Name: "crate"}},
		Bins:  []farm.Bin{{Name: "a", Room: "linden", Zones: one}, {Name: "b", Room: "linden", Zones: one}, {Name: "crate", Room: "crate", Zones: one}, {Name: "d", Room: "crate", Zones: one}},
	}
	for _, tt := range []struct {
		words []string
		bins  string // "": refused
	}{
		{[]string{"linden"}, "ab"}, {[]string{"linden", "too-cold"}, "ab"}, {[]string{"a", "too-cold"}, "a"}, {[]string{"crate"}, "crate"},
		{[]string{"linden", "too-cold", "too-hot"}, ""}, {[]string{"elm"}, ""},
	} {
		all, err := hushesOf(f, tt.words)
		got := ""
		for _, h := range all {
			if got += h.Bin; len(tt.words) > 1 && h.Condition != farm.TooCold {
				t.Errorf("%v: quiet about %q", tt.words, h.Condition)
			}
		}
		if got != tt.bins || (err == nil) != (tt.bins != "") {
			t.Errorf("%v: quiet about %q, %v; want %q", tt.words, got, err, tt.bins)
		}
	}
}
