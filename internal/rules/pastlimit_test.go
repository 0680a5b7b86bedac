package rules_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
	"binwatchd/internal/rules"
)

// cellar is a bin that measures what has no bands, with limits for some of it.
func cellar(limits map[farm.Quantity]farm.Band) *farm.Farm {
	f := nursery(farm.Living, "red")
	f.Probes = append(f.Probes,
		farm.Probe{ID: "c", Measures: farm.CO2, Unit: farm.PPM, Every: 10 * time.Minute},
		farm.Probe{ID: "p", Measures: farm.PH, Unit: farm.PHUnit, Every: 10 * time.Minute})
	z := &f.Bins[0].Zones[0]
	z.Probes = append(z.Probes, "c", "p")
	z.Limits = limits
	return f
}

func TestPastLimit(t *testing.T) {
	const h, m = time.Hour, time.Minute
	both := map[farm.Quantity]farm.Band{farm.CO2: {Low: 0, High: 2000}, farm.PH: {Low: 6, High: 8}}
	tests := []struct {
		name   string
		limits map[farm.Quantity]farm.Band
		probe  string
		legs   []leg
		want   []brief
		texts  []string
	}{
		{
			"above, after patience, until it is back by the margin for as long", both, "c", []leg{{2 * h, 900}, {4 * h, 2600}, {6 * h, 1980}, {8 * h, 900}},
			[]brief{{2*h + 40*m, farm.Raised, farm.Today}, {6*h + 40*m, farm.Eased, farm.Today}},
			[]string{"Bed: its CO2 is 2600 ppm, above its limit of 2000 ppm.", "Bed: its CO2 is within its limits again: 900 ppm now, after 4 hours (it reached 2600 ppm)."},
		},
		{
			"below", both, "p", []leg{{2 * h, 7}, {4 * h, 5.4}, {6 * h, 7}},
			[]brief{{2*h + 60*m, farm.Raised, farm.Today}, {4*h + 50*m, farm.Eased, farm.Today}}, // its median spans an hour
			[]string{"Bed: its pH is 5.4, below its limit of 6.", "Bed: its pH is within its limits again: 7 now, after 2 hours (it reached 5.4)."},
		},
		{"shorter than patience", both, "c", []leg{{2 * h, 900}, {2*h + 20*m, 5000}, {6 * h, 900}}, nil, nil},
		{"at the limit", both, "c", []leg{{6 * h, 2000}}, nil, nil},
		{"no limits, no judgement", nil, "c", []leg{{6 * h, 40_000}}, nil, nil},
		{"limits of another quantity", map[farm.Quantity]farm.Band{farm.PH: {Low: 6, High: 8}}, "c", []leg{{6 * h, 40_000}}, nil, nil},
		{
			"between limits nearer to each other than its margin", map[farm.Quantity]farm.Band{farm.CO2: {Low: 900, High: 960}}, "c", []leg{{2 * h, 880}, {6 * h, 930}},
			[]brief{{30 * m, farm.Raised, farm.Today}, {2*h + 40*m, farm.Eased, farm.Today}},
			[]string{"Bed: its CO2 is 880 ppm, below its limit of 900 ppm.", "Bed: its CO2 is within its limits again: 930 ppm now, after 2 hours (it reached 880 ppm)."},
		},
		{
			"never the same figure beside the limit", both, "c", []leg{{4 * h, 2000.4}},
			[]brief{{30 * m, farm.Raised, farm.Today}}, []string{"Bed: its CO2 is 2000.4 ppm, above its limit of 2000 ppm."},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			w := watching(cellar(tt.limits))
			from := t0
			for _, l := range tt.legs {
				w.hold(tt.probe, from, t0.Add(l.until), l.value)
				from = t0.Add(l.until)
			}
			got := w.of(farm.PastLimit)
			if diff := cmp.Diff(tt.want, briefs(got)); diff != "" {
				t.Errorf("changes (-want +got):\n%s", diff)
			}
			var texts []string
			for _, ch := range got {
				texts = append(texts, ch.Text)
			}
			if diff := cmp.Diff(tt.texts, texts); diff != "" {
				t.Errorf("texts (-want +got):\n%s", diff)
			}
		})
	}
}

// Each quantity has an episode of its own; CO2 comes with the caution that its
// figures' sources ask for (29 CFR 1910.1000 Table Z-1 and EH40/2005: 5,000 ppm;
// NIOSH Pocket Guide: 40,000 ppm).
func TestEachQuantityIsPastItsOwnLimit(t *testing.T) {
	w := watching(cellar(map[farm.Quantity]farm.Band{farm.CO2: {Low: 0, High: 2000}, farm.PH: {Low: 6, High: 8}}))
	for at := t0; at.Before(t0.Add(3 * time.Hour)); at = at.Add(10 * time.Minute) {
		w.say("c", at, 2600)
		w.say("p", at, 8.6)
	}
	got := w.of(farm.PastLimit)
	if len(got) != 2 || got[0].Episode == got[1].Episode || got[0].Quantity != farm.CO2 || got[1].Quantity != farm.PH {
		t.Fatalf("got %+v, want one of CO2 and one of pH", got)
	}
	if got[0].Brief != "CO2 2600 ppm, above its limit of 2000 ppm" || got[0].Is() != "CO2 past its limit" {
		t.Errorf("got %q, called %q", got[0].Brief, got[0].Is())
	}
	caution := strings.Join(got[0].Cautions, " ")
	for _, want := range []string{"displaces the air", "5,000 ppm", "40,000 ppm", "Local codes", "never be the only safety device"} {
		if !strings.Contains(caution, want) {
			t.Errorf("the caution does not say %q: %s", want, caution)
		}
	}
	v := w.state.Look(t0.Add(3 * time.Hour))
	l := v.Bins[0].Zones[0].Level(farm.CO2)
	want := []farm.Limit{{Condition: farm.PastLimit, Urgency: farm.Today, At: 0}, {Condition: farm.PastLimit, Urgency: farm.Today, At: 2000}}
	if diff := cmp.Diff(want, l.Limits); diff != "" || l.Value != 2600 || !l.Bands.IsZero() {
		t.Errorf("got the level %+v, limits (-want +got):\n%s", l, diff)
	}
	if len(v.Standing) < 2 || v.Standing[1].Quantity != farm.PH || v.Standing[0].Quantity != farm.CO2 || v.Standing[0].Advice.Do == "" {
		t.Errorf("got %+v raised, want CO2 and pH", v.Standing)
	}
}

// What is past its limit goes on over a restart and a rebuild, and is ended as
// unwatched where its limits are taken out.
func TestPastLimitOutlivesARestart(t *testing.T) {
	limits := map[farm.Quantity]farm.Band{farm.CO2: {Low: 0, High: 2000}}
	w := watching(cellar(limits))
	w.hold("c", t0, t0.Add(3*time.Hour), 2600)
	raised := only(t, w.of(farm.PastLimit))
	data, err := w.state.Save()
	if err != nil {
		t.Fatal(err)
	}
	restored, err := rules.Restore(cellar(limits), data, farm.Renames{})
	if err != nil {
		t.Fatal(err)
	}
	later := &watched{state: restored}
	later.hold("c", t0.Add(3*time.Hour), t0.Add(6*time.Hour), 2600)
	if got := later.of(farm.PastLimit); len(got) > 0 {
		t.Errorf("told again after a restart: %+v", got)
	}
	later.hold("c", t0.Add(6*time.Hour), t0.Add(9*time.Hour), 900)
	if eased := only(t, later.of(farm.PastLimit)); eased.Episode != raised.Episode || eased.Change != farm.Eased {
		t.Errorf("got %+v, want the same episode eased", eased)
	}

	without := rules.New(cellar(nil))
	if gone := without.Reconcile([]farm.Change{raised}); len(gone) != 1 || gone[0].Ended != farm.Unwatched ||
		!strings.Contains(gone[0].Text, "it has no limits for its CO2 any more") {
		t.Errorf("got %+v, want that nobody looks any more", gone)
	}
	again := rules.New(cellar(limits))
	if gone := again.Reconcile([]farm.Change{raised}); len(gone) > 0 {
		t.Errorf("got %+v of what is still watched", gone)
	}
	if st := again.Look(t0.Add(3 * time.Hour)).Standing; !slices.ContainsFunc(st, func(s farm.Standing) bool { return s.Episode == raised.Episode }) {
		t.Errorf("got %+v, want what was told to go on", st)
	}
}

// A hush of one quantity leaves the others to be told: a keeper who knows that a
// bin is heavy still hears of its CO2.
func TestAHushOfOneQuantity(t *testing.T) {
	w := watching(cellar(map[farm.Quantity]farm.Band{farm.CO2: {Low: 0, High: 2000}, farm.PH: {Low: 6, High: 8}}))
	for at := t0; at.Before(t0.Add(3 * time.Hour)); at = at.Add(10 * time.Minute) {
		w.say("c", at, 2600)
		w.say("p", at, 8.6)
	}
	now := t0.Add(3 * time.Hour)
	quiet := func(q farm.Quantity) (out []farm.Quantity) {
		w.step(farm.Event{Kind: farm.EventHush, Arrived: now, Hush: farm.Hush{Bin: "bed", Condition: farm.PastLimit, Quantity: q, Until: now.Add(time.Hour)}})
		for _, st := range w.state.Look(now).Standing {
			if st.Hushed != nil {
				out = append(out, st.Quantity)
			}
		}
		return out
	}
	if got := quiet(farm.PH); !slices.Equal(got, []farm.Quantity{farm.PH}) {
		t.Errorf("quiet about %v, want pH alone", got)
	}
	if got := quiet(""); !slices.Equal(got, []farm.Quantity{farm.CO2, farm.PH}) {
		t.Errorf("quiet about %v, want both", got)
	}
}
