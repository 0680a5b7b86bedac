package rules_test

import (
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/rules"
)

// Who knows of what is raised stands beside it, and who has taken it on answers for it until
// then, unless it comes to now meanwhile. A restart in between changes nothing.
func TestWhoKnowsAndWhoLooksAfterIt(t *testing.T) {
	const h, m = time.Hour, time.Minute
	type say struct {
		at    time.Duration // after it is raised
		by    string
		until time.Duration // likewise; 0: knows of it
	}
	for _, tt := range []struct {
		name  string
		says  []say
		worse time.Duration // too hot to survive from then on; 0: never
		at    time.Duration
		seen  bool
		known string
	}{
		{"nobody", nil, 0, h, false, ""},
		{"one knows", []say{{0, "mara", 0}}, 0, h, true, "Mara knows, 09:00"},
		{"who knew first", []say{{0, "mara", 0}, {10 * m, "jo", 0}}, 0, h, true, "Mara knows, 09:00"},
		{"by which way alone", []say{{0, "page", 0}}, 0, h, true, ""},
		{"one takes what another knows of", []say{{0, "mara", 0}, {10 * m, "jo", 4 * h}}, 0, h, true, "Jo looks after it until 13:00"},
		{"another knows of what is taken", []say{{0, "jo", 4 * h}, {10 * m, "mara", 0}}, 0, h, true, "Jo looks after it until 13:00"},
		{"another takes it over", []say{{0, "jo", 4 * h}, {10 * m, "mara", 5 * h}}, 0, h, true, "Mara looks after it until 14:00"},
		{"its end, in vain", []say{{0, "jo", 4 * h}}, 0, 4 * h, false, "Jo looked after it until 13:00"},
		{"given back", []say{{0, "jo", 4 * h}, {30 * m, "jo", 30 * m}}, 0, h, false, "Jo looked after it until 09:30"},
		{"known again after its end", []say{{0, "jo", h}, {90 * m, "mara", 0}}, 0, 2 * h, true, "Mara knows, 10:30"},
		{"worse than it was taken for", []say{{0, "jo", 9 * h}}, 2 * h, 4 * h, false, "Jo looks after it until 18:00"},
		{"known again after it got worse", []say{{0, "jo", 9 * h}, {4 * h, "mara", 0}}, 2 * h, 5 * h, true, "Mara knows, 13:00"},
		{"taken again after it got worse", []say{{0, "jo", 9 * h}, {4 * h, "jo", 9 * h}}, 2 * h, 5 * h, true, "Jo looks after it until 18:00"},
		{"known, and worse", []say{{0, "mara", 0}}, 2 * h, 4 * h, true, "Mara knows, 09:00"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f := nursery(farm.Living, "red")
			f.People = []farm.Person{{Name: "mara"}, {Name: "jo"}}
			w := watching(f)
			raisedAt := t0.Add(h)
			w.hold("t", t0, raisedAt, 29)
			is := func(at time.Time) (st farm.Standing) {
				for _, st = range w.state.Look(at).Standing {
					if st.Condition == farm.TooHot {
						return st
					}
				}
				t.Fatalf("nothing is raised: %+v", w.changes)
				return st
			}
			id := is(raisedAt).Episode
			hot, last := 29.0, raisedAt
			until := func(at time.Duration) {
				for last.Before(raisedAt.Add(at)) {
					if last = last.Add(10 * m); tt.worse > 0 && last.Sub(raisedAt) >= tt.worse {
						hot = 38
					}
					w.say("t", last, hot)
				}
			}
			for _, s := range tt.says {
				until(s.at)
				n := farm.Seen{Episode: id, By: s.by}
				if s.until > 0 {
					n.Until = raisedAt.Add(s.until)
				}
				w.step(farm.Event{Kind: farm.EventSeen, Arrived: raisedAt.Add(s.at), Seen: n})
				kept, err := w.state.Save()
				if err != nil {
					t.Fatal(err)
				}
				if w.state, err = rules.Restore(f, kept, farm.Renames{}); err != nil {
					t.Fatal(err)
				}
			}
			until(tt.at)
			st := is(raisedAt.Add(tt.at))
			if st.Seen != tt.seen || st.Known != tt.known {
				t.Errorf("seen %v, %q; want %v, %q (%s, %s)", st.Seen, st.Known, tt.seen, tt.known, st.Urgency, st.Text)
			}
			if (st.KnownBy != "") != (tt.known != "") {
				t.Errorf("known by %q", st.KnownBy)
			}
		})
	}
}
