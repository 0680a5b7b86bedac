package farm_test

import (
	"slices"
	"testing"

	"binwatchd/internal/farm"
)

func TestPersonCalled(t *testing.T) {
	f := &farm.Farm{People: []farm.Person{{Name: "mara"}, {Name: "Jörg"}}}
	for name, want := range map[string]string{"mara": "mara", "MARA": "mara", "jÖRG": "Jörg", "": "", "mar": "", "mara jörg": ""} {
		if p, ok := f.PersonCalled(name); p.Name != want || ok != (want != "") {
			t.Errorf("%q: got %q, %v", name, p.Name, ok)
		}
	}
	for by, want := range map[string]string{"mara": "Mara", "jörg": "Jörg", "a neighbour": "a neighbour", "ann@example.org": "ann@example.org", "mqtt": "", "page": "", "command": ""} {
		if got := f.SayPerson(by); got != want {
			t.Errorf("%q: got %q, want %q", by, got, want)
		}
	}
}

// However the rounds are shared out, nothing is on nobody's, and what stands in a place of
// one alone is on no other's who has one.
func TestTheRoundsAreSharedOutWhole(t *testing.T) {
	bins := []farm.Bin{{Name: "a", Room: "linden"}, {Name: "b", Room: "cellar"}, {Name: "c", Room: "yard"}, {Name: "d"}}
	for i := range bins {
		bins[i].Zones = []farm.Zone{{Name: "all", Probes: []string{bins[i].Name + "-t"}}}
	}
	view := farm.View{}
	for _, b := range bins {
		view.Bins = append(view.Bins, farm.BinView{Name: b.Name})
		view.Standing = append(view.Standing, farm.Standing{Episode: b.Name, Bin: b.Name, Zone: "all"}, farm.Standing{Episode: b.Name + "-t", Probe: b.Name + "-t"})
		view.Probes = append(view.Probes, farm.ProbeView{ID: b.Name + "-t"})
	}
	for _, id := range []string{"linden-air", "battery"} {
		view.Standing = append(view.Standing, farm.Standing{Episode: id, Probe: id})
	}
	view.Standing = append(view.Standing, farm.Standing{Episode: "farm"}, farm.Standing{Episode: "b-b", Probe: "b-b"})
	for _, tt := range []struct {
		people []farm.Person
		want   map[string]string // by person, the bins
	}{
		{nil, map[string]string{"": "abcd"}},
		{[]farm.Person{{Name: "mara", Places: []string{"linden"}}, {Name: "jo", Places: []string{"cellar"}}}, map[string]string{"mara": "acd", "jo": "bcd", "": "abcd"}},
		{[]farm.Person{{Name: "mara", Places: []string{"linden", "cellar"}}, {Name: "jo", Places: []string{"cellar"}}, {Name: "helper"}},
			map[string]string{"mara": "abcd", "jo": "bcd", "helper": "abcd"}},
		{[]farm.Person{{Name: "mara", Places: []string{"linden"}}}, map[string]string{"mara": "abcd"}},
	} {
		f := &farm.Farm{Bins: bins, Rooms: []farm.Room{{Name: "linden", Air: "linden-air"}, {Name: "cellar"}, {Name: "yard"}}, People: tt.people, Probes: []farm.Probe{{ID: "b-b", Of: []string{"b-t"}}}}
		var all []string
		for who, want := range tt.want {
			p, _ := f.PersonCalled(who)
			part, got := view.For(f, p), ""
			for _, b := range part.Bins {
				got += b.Name
			}
			if got != want || len(part.Probes) != len(want) {
				t.Errorf("%v: %q has %s and %d probes, want %s", tt.people, who, got, len(part.Probes), want)
			}
			for _, st := range part.Standing {
				all = append(all, st.Episode)
			}
			has := func(id string) bool {
				return slices.ContainsFunc(part.Standing, func(st farm.Standing) bool { return st.Episode == id })
			}
			if !has("battery") || has("b-b") != has("b") {
				t.Errorf("%v: the batteries on the round of %q are not those of its bins and of none", tt.people, who)
			}
		}
		for _, st := range view.Standing {
			if !slices.Contains(all, st.Episode) {
				t.Errorf("%v: %s is on nobody's round", tt.people, st.Episode)
			}
		}
	}
}
