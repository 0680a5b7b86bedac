package rules_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
)

// A leg is a stretch of a scripted day: a value said every ten minutes until
// some time after t0.
type leg struct {
	until time.Duration
	value float64
}

func TestBandConditions(t *testing.T) {
	const h, m = time.Hour, time.Minute
	tests := []struct {
		name    string
		aim     farm.Aim
		species []string
		probe   string
		legs    []leg
		cond    farm.Condition
		want    []brief
	}{
		{
			"past thrive is raised after patience, and eased after patience inside by the margin",
			farm.Living, []string{"red"}, "t", []leg{{2 * h, 20}, {4 * h, 26}, {6 * h, 24}}, farm.TooHot,
			// The median of half an hour follows the second of three readings.
			[]brief{{2*h + 10*m + 30*m, farm.Raised, farm.Today}, {4*h + 10*m + 30*m, farm.Eased, farm.Today}},
		},
		{
			"past survive is urgent at once when it comes in one step",
			farm.Living, []string{"red"}, "t", []leg{{2 * h, 20}, {4 * h, 33}}, farm.TooHot,
			[]brief{{2*h + 40*m, farm.Raised, farm.Now}},
		},
		{
			"it worsens past survive and lightens when back inside it",
			farm.Living, []string{"red"}, "t", []leg{{2 * h, 20}, {4 * h, 28}, {6 * h, 33}, {8 * h, 28}, {10 * h, 20}}, farm.TooHot,
			[]brief{
				{2*h + 40*m, farm.Raised, farm.Today}, {4*h + 40*m, farm.Worsened, farm.Now},
				{6*h + 40*m, farm.Lightened, farm.Today}, {8*h + 40*m, farm.Eased, farm.Today},
			},
		},
		{
			"a breach shorter than patience is nothing",
			farm.Living, []string{"red"}, "t", []leg{{2 * h, 20}, {2*h + 20*m, 27}, {6 * h, 20}}, farm.TooHot, nil,
		},
		{
			"exactly at the limit is not past it",
			farm.Living, []string{"red"}, "t", []leg{{8 * h, 25}}, farm.TooHot, nil,
		},
		{
			"inside, yet not by the margin, does not ease",
			farm.Living, []string{"red"}, "t", []leg{{2 * h, 27}, {9 * h, 24.75}}, farm.TooHot,
			[]brief{{30 * m, farm.Raised, farm.Today}},
		},
		{
			"inside by exactly the margin eases",
			farm.Living, []string{"red"}, "t", []leg{{2 * h, 27}, {9 * h, 24.5}}, farm.TooHot,
			[]brief{{30 * m, farm.Raised, farm.Today}, {2*h + 40*m, farm.Eased, farm.Today}},
		},
		{
			"cold is due soon, and at once past survive",
			farm.Living, []string{"red"}, "t", []leg{{2 * h, 14}, {4 * h, 3}}, farm.TooCold,
			[]brief{{30 * m, farm.Raised, farm.Soon}, {2*h + 40*m, farm.Worsened, farm.Now}},
		},
		{
			"stored castings have bands of their own: hot",
			farm.Keeping, nil, "t", []leg{{2 * h, 26}, {4 * h, 33}}, farm.TooHot,
			[]brief{{30 * m, farm.Raised, farm.Today}, {2*h + 40*m, farm.Worsened, farm.Now}},
		},
		{
			"stored castings have bands of their own: cold",
			farm.Keeping, nil, "t", []leg{{2 * h, 1}}, farm.TooCold, []brief{{30 * m, farm.Raised, farm.Soon}},
		},
		{
			"moisture is judged by six hours: the fourth hour tips the median",
			farm.Living, []string{"red"}, "m", []leg{{8 * h, 75}, {16 * h, 65}}, farm.TooDry,
			[]brief{{8*h + 3*h + 30*m, farm.Raised, farm.Today}},
		},
		{
			"stored castings too dry past survive",
			farm.Keeping, nil, "m", []leg{{2 * h, 30}}, farm.TooDry, []brief{{30 * m, farm.Raised, farm.Now}},
		},
		{
			"stored castings too wet",
			farm.Keeping, nil, "m", []leg{{2 * h, 60}}, farm.TooWet, []brief{{30 * m, farm.Raised, farm.Today}},
		},
		{
			"a sifting zone may dry below thrive",
			farm.Sifting, []string{"red"}, "m", []leg{{12 * h, 30}}, farm.TooDry, nil,
		},
		{
			"a sifting zone is too dry past survive",
			farm.Sifting, []string{"red"}, "m", []leg{{12 * h, 27}}, farm.TooDry, []brief{{30 * m, farm.Raised, farm.Now}},
		},
		{
			"a sifting zone is never too wet",
			farm.Sifting, []string{"red"}, "m", []leg{{12 * h, 90}}, farm.TooWet, nil,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			w := watching(nursery(tt.aim, tt.species...))
			from := time.Duration(0)
			for _, l := range tt.legs {
				w.hold(tt.probe, t0.Add(from), t0.Add(l.until), l.value)
				from = l.until
			}
			if diff := cmp.Diff(tt.want, briefs(w.of(tt.cond))); diff != "" {
				t.Errorf("changes of %s (-want +got):\n%s", tt.cond, diff)
			}
		})
	}
}

// Mixed bins. Common practice, no source: the trade's own experience, its °F
// converted here.
func TestMixedBinsAreJudgedByTheSpeciesThatMind(t *testing.T) {
	f := farm.CelsiusOf
	tests := []struct {
		name    string
		species []string
		tempC   float64
		want    []farm.Condition
		urgency farm.Urgency
	}{
		{"65 °F suits red and European while blue rest", []string{"red", "european", "blue"}, f(65), nil, farm.Calm},
		{"88 °F slows red and European, two thirds of them, while blue take over", []string{"red", "european", "blue"}, f(88), []farm.Condition{farm.TooHot}, farm.Soon},
		{"88 °F slows red, half of them, while blue take over", []string{"red", "blue"}, f(88), nil, farm.Calm},
		{"African worms are content at 75 °F", []string{"african"}, f(75), nil, farm.Calm},
		{"African worms are unhappy at 62 °F", []string{"african"}, f(62), []farm.Condition{farm.TooCold}, farm.Soon},
		{"one species in danger is enough", []string{"red", "african"}, 15.5, []farm.Condition{farm.TooCold}, farm.Now},
		{"every species past thrive on the hot side", []string{"red", "european"}, 26, []farm.Condition{farm.TooHot}, farm.Today},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			w := watching(nursery(farm.Living, tt.species...))
			w.hold("t", t0, t0.Add(3*time.Hour), tt.tempC)
			var got []farm.Condition
			for _, ch := range w.changes {
				if ch.Condition != farm.Silent { // the other probes say nothing here
					got = append(got, ch.Condition)
					if ch.Urgency != tt.urgency {
						t.Errorf("got %s at %s, want %s", ch.Condition, ch.Urgency, tt.urgency)
					}
				}
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("raised (-want +got):\n%s", diff)
			}
		})
	}
}

func TestTextSaysWhoSuffersAndWhoDoesNotMind(t *testing.T) {
	w := watching(nursery(farm.Living, "red", "blue"))
	w.hold("t", t0, t0.Add(2*time.Hour), 33)
	got := only(t, w.of(farm.TooHot)).Text
	for _, part := range []string{"Bed is too hot at 33 °C", "Red worms (50 %) are in danger", "lue worms (50 %) are slowed"} {
		if !strings.Contains(got, part) {
			t.Errorf("text %q does not say %q", got, part)
		}
	}
}

func TestEasingSaysHowLongAndHowFar(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	w.hold("t", t0, t0.Add(4*time.Hour), 28)
	w.hold("t", t0.Add(4*time.Hour), t0.Add(7*time.Hour), 20)
	got := w.of(farm.TooHot)
	last := got[len(got)-1]
	if last.Change != farm.Eased || last.Peak == nil || *last.Peak != 28 {
		t.Fatalf("got %+v, want an easing that knows its peak of 28", last)
	}
	if !strings.Contains(last.Text, "28 °C") || !strings.Contains(last.Text, "4 hours") {
		t.Errorf("text %q tells neither peak nor length", last.Text)
	}
}

func TestTheSameBreachWithinADayIsTheSameEpisode(t *testing.T) {
	day := 24 * time.Hour
	tests := []struct {
		name  string
		pause time.Duration
		same  bool
	}{
		{"hours later", 12 * time.Hour, true},
		{"two days later", 2 * day, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			w := watching(nursery(farm.Living, "red"))
			w.hold("t", t0, t0.Add(2*time.Hour), 28)
			again := t0.Add(2 * time.Hour).Add(tt.pause)
			w.hold("t", t0.Add(2*time.Hour), again, 20)
			w.hold("t", again, again.Add(2*time.Hour), 28)
			got := w.of(farm.TooHot)
			if len(got) != 3 {
				t.Fatalf("got %d changes, want raised, eased, raised: %+v", len(got), briefs(got))
			}
			if same := got[0].Episode == got[2].Episode; same != tt.same || got[2].Again != tt.same {
				t.Errorf("same episode: got %v (again %v), want %v", same, got[2].Again, tt.same)
			}
		})
	}
}
