package rules_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
)

// A probe whose device is said to be gone is silent after ten minutes, long before three times
// its every, and says why.
func TestADeviceThatIsGone(t *testing.T) {
	const h, m = time.Hour, time.Minute
	const will = "glass/bed/status"
	begin := func() *watched {
		f := nursery(farm.Living, "red")
		for i := range f.Probes {
			f.Probes[i].Every = 2 * h
			if f.Probes[i].ID == "t" {
				f.Probes[i].Alive = farm.Alive{Topic: will}
			}
		}
		w := watching(f)
		w.step(farm.Event{Kind: farm.EventLink, Arrived: t0, Up: true})
		for _, id := range []string{"t", "m"} {
			w.say(id, t0, map[string]float64{"t": 20, "m": 75}[id])
		}
		return w
	}
	word := func(w *watched, at time.Time, topic string, gone bool) {
		w.step(farm.Event{Kind: farm.EventAlive, Arrived: at, Alive: &farm.Liveness{Topic: topic, Gone: gone, Says: map[bool]string{true: "Offline", false: "Online"}[gone]}})
	}
	tick := func(w *watched, at time.Time) { w.step(farm.Event{Kind: farm.EventTick, Arrived: at}) }
	for _, tt := range []struct {
		name string
		do   func(w *watched)
		want []brief
	}{
		{"gone and back, before it would speak", func(w *watched) {
			word(w, t0.Add(20*m), will, true)
			tick(w, t0.Add(45*m))
			word(w, t0.Add(50*m), will, false)
			tick(w, t0.Add(90*m))
		}, []brief{{30 * m, farm.Raised, farm.Today}, {50 * m, farm.Eased, farm.Today}}},
		{"gone twice in a row counts from the first", func(w *watched) {
			word(w, t0.Add(20*m), will, true)
			word(w, t0.Add(25*m), will, true)
			tick(w, t0.Add(45*m))
		}, []brief{{30 * m, farm.Raised, farm.Today}}},
		{"away for nine minutes", func(w *watched) {
			word(w, t0.Add(20*m), will, true)
			word(w, t0.Add(29*m), will, false)
			tick(w, t0.Add(90*m))
		}, nil},
		{"it speaks, whatever is said", func(w *watched) {
			word(w, t0.Add(20*m), will, true)
			w.say("t", t0.Add(25*m), 20)
			tick(w, t0.Add(90*m))
		}, nil},
		{"a reading ends it", func(w *watched) {
			word(w, t0.Add(20*m), will, true)
			tick(w, t0.Add(60*m))
			w.say("t", t0.Add(61*m), 20)
		}, []brief{{30 * m, farm.Raised, farm.Today}, {61 * m, farm.Eased, farm.Today}}},
		{"there again, and long silent all the same", func(w *watched) {
			word(w, t0.Add(20*m), will, true)
			tick(w, t0.Add(7*h))
			word(w, t0.Add(7*h+m), will, false)
			tick(w, t0.Add(8*h))
		}, []brief{{30 * m, farm.Raised, farm.Today}}},
		{"another's", func(w *watched) {
			word(w, t0.Add(20*m), "other/status", true)
			tick(w, t0.Add(90*m))
		}, nil},
	} {
		w := begin()
		tt.do(w)
		var got []farm.Change
		for _, ch := range w.of(farm.Silent) {
			if ch.Probe == "t" {
				got = append(got, ch)
			}
		}
		if diff := cmp.Diff(tt.want, briefs(got)); diff != "" {
			t.Errorf("%s (-want +got):\n%s", tt.name, diff)
		}
		if len(got) > 0 && !strings.Contains(got[0].Text, `Its device has been gone since about 8 am: glass/bed/status says "Offline".`) {
			t.Errorf("%s: it says %q", tt.name, got[0].Text)
		}
	}
}
