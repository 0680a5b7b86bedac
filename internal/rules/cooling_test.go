package rules_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
	"binwatchd/internal/rules"
)

// yard is one bin with a thermometer that follows the air of a yard, of which the weather
// may be foretold.
func yard() *farm.Farm {
	f := nursery(farm.Living, "red")
	f.Probes = append(f.Probes, farm.Probe{ID: "air", Measures: farm.Temperature, Unit: farm.Celsius, Every: 10 * time.Minute})
	f.Rooms = []farm.Room{{Name: "yard", Air: "air", Ahead: "weather/hours"}}
	f.Bins[0].Room, f.Bins[0].Ambient = "yard", "air"
	look := &f.Bins[0].Zones[0].LookAhead
	look.Cooling, look.Warming = 18*time.Hour, 18*time.Hour
	return f
}

// A night is a bin in a yard whose air swings about a mean, with a lag of about six hours.
type nights struct {
	*watched
	meanC func(t time.Time) float64
	binC  float64
}

func (n *nights) airC(t time.Time) float64 {
	return n.meanC(t) + 4*math.Cos(2*math.Pi*(t.Sub(t0).Hours()-7)/24)
}

// pass lets time pass, six readings an hour.
func (n *nights) pass(from, to time.Time) {
	for at := from; at.Before(to); at = at.Add(10 * time.Minute) {
		air := n.airC(at)
		n.binC += (air - n.binC) / 6 / 6
		n.say("t", at.Add(10*time.Second), math.Round(n.binC*16)/16)
		n.say("air", at.Add(20*time.Second), math.Round(air*16)/16)
	}
}

// foretell says the coming two days as they will be.
func (n *nights) foretell(at time.Time) {
	w := &farm.Weather{Topic: "weather/hours"}
	for h := range 48 {
		to := at.Add(time.Duration(h) * time.Hour)
		w.Hours = append(w.Hours, farm.WeatherHour{At: to, TempC: n.airC(to)})
	}
	n.step(farm.Event{Kind: farm.EventWeather, Arrived: at, Weather: w})
}

func (n *nights) of(c farm.Condition) (all []farm.Change) {
	return slices.DeleteFunc(slices.Clone(n.changes), func(ch farm.Change) bool { return ch.Condition != c })
}

// turnsCold is ten mild days, then a front: from noon of the eleventh on it is ten
// kelvins colder for two days.
func turnsCold(t time.Time) float64 {
	into := t.Sub(t0.Add(10*day + 4*time.Hour)).Hours()
	if into > 48 {
		return 11
	}
	return 11 - 10*min(1, max(0, into/6))
}

// A front is told once, before the keeper's evening, with its interval, and what it brings
// is told as that: nothing is told twice. When the next night is mild it is over.
func TestAFrontIsToldOnceAndInTime(t *testing.T) {
	n := &nights{watched: watching(yard()), meanC: turnsCold, binC: 11}
	for at := t0; at.Before(t0.Add(14 * day)); at = at.Add(6 * time.Hour) {
		n.foretell(at)
		n.pass(at.Add(time.Minute), at.Add(6*time.Hour))
	}
	cooling, cold := n.of(farm.Cooling), n.of(farm.TooCold)
	if len(cooling) != 2 || cooling[0].Change != farm.Raised || cooling[1].Change != farm.Eased {
		t.Fatalf("got %v, want it raised and eased", cooling)
	}
	raised := cooling[0]
	passes := slices.IndexFunc(cold, func(ch farm.Change) bool { return ch.Urgency == farm.Now })
	if passes < 0 {
		t.Fatalf("it was never too cold: %v", cold)
	}
	lead := cold[passes].At.Sub(raised.At)
	if lead < 6*time.Hour || lead > 19*time.Hour || raised.Urgency != farm.Today {
		t.Errorf("raised %v before, %s", lead, raised.Urgency)
	}
	f := raised.Forecast
	if f == nil || f.Limit != 4 || f.Crosses.Before(f.Earliest) || f.Latest.Before(f.Crosses) || f.Crosses.Sub(cold[passes].At).Abs() > 3*time.Hour {
		t.Errorf("got forecast %+v, it passed the limit at %s", f, cold[passes].At)
	}
	for _, want := range []string{"Bed will be below 4 °C by ", "(between ", "; it is ", "It follows the air of yard by about ", "the weather foretold there is counted in."} {
		if !strings.Contains(raised.Text, want) {
			t.Errorf("%q does not say %q", raised.Text, want)
		}
	}
	if raised.Advice == nil || raised.Advice.Do != "Cover it or bring it in before night." || !strings.HasPrefix(raised.Brief, "below 4 °C by ") {
		t.Errorf("got advice %+v, brief %q", raised.Advice, raised.Brief)
	}
	if !strings.Contains(cooling[1].Text, "is no longer on its way below 4 °C") {
		t.Errorf("got %q", cooling[1].Text)
	}
	if w := n.of(farm.Warming); len(w) > 0 {
		t.Errorf("got %v", w)
	}
}

// Nights that come daily are one episode; what it stands on without a forecast is said.
func TestColdNightsAreOneEpisode(t *testing.T) {
	n := &nights{watched: watching(yard()), binC: 9}
	n.meanC = func(t time.Time) float64 { return 9 - 4.5*min(1, max(0, t.Sub(t0.Add(8*day)).Hours()/24)) }
	n.pass(t0, t0.Add(16*day))
	cooling := n.of(farm.Cooling)
	if len(cooling) != 1 || cooling[0].Change != farm.Raised {
		t.Fatalf("got %v, want it raised once", cooling)
	}
	if !strings.Contains(cooling[0].Text, "and that goes on as on other days.") {
		t.Errorf("got %q", cooling[0].Text)
	}
}

// Without 18 hours to look ahead, nothing is foreseen; nor with weather of another topic or
// of a day ago.
func TestWhatIsNotForetoldIsNotSaid(t *testing.T) {
	f := yard()
	f.Bins[0].Zones[0].LookAhead = farm.LookAhead{}
	n := &nights{watched: watching(f), meanC: turnsCold, binC: 11}
	n.pass(t0, t0.Add(12*day))
	if got := n.of(farm.Cooling); len(got) > 0 {
		t.Errorf("got %v", got)
	}
	for _, o := range n.state.Look(t0.Add(12 * day)).Bins[0].Zones[0].Outlook {
		if o.Condition == farm.Cooling {
			t.Errorf("got outlook %v", o)
		}
	}
}

// What is foretold survives a restart: a state that was saved goes on as one that was not.
func TestTheWeatherSurvivesARestart(t *testing.T) {
	n := &nights{watched: watching(yard()), meanC: turnsCold, binC: 11}
	n.pass(t0, t0.Add(10*day))
	n.foretell(t0.Add(10 * day))
	saved, err := n.state.Save()
	if err != nil {
		t.Fatal(err)
	}
	again, err := rules.Restore(yard(), saved, farm.Renames{})
	if err != nil {
		t.Fatal(err)
	}
	m := &nights{watched: &watched{state: again}, meanC: turnsCold, binC: n.binC}
	n.changes = nil
	n.pass(t0.Add(10*day), t0.Add(11*day))
	m.pass(t0.Add(10*day), t0.Add(11*day))
	if len(n.changes) == 0 || len(n.changes) != len(m.changes) || n.changes[0].Text != m.changes[0].Text || n.of(farm.Cooling)[0].At != m.of(farm.Cooling)[0].At {
		t.Errorf("got\n%v\nwant\n%v", m.changes, n.changes)
	}
}

// outdoors is a wild life in a yard whose weather is foretold now and then: days, fronts
// that come over the limits, and all else that a history has.
func outdoors(seed uint64, n int) []farm.Event {
	r := rand.New(rand.NewPCG(seed, 2))
	air := func(at time.Time) float64 {
		h := at.Sub(t0).Hours()
		return 12 + 14*math.Sin(h/50) + 5*math.Cos(2*math.Pi*(h-7)/24)
	}
	var out []farm.Event
	for _, e := range history(seed, n) {
		at := e.Arrived
		if e.Kind == farm.EventReading && e.Reading.Probe == "t" && !e.Reading.At.IsZero() {
			e.Reading.Value = air(at.Add(-5*time.Hour)) + 0.2*r.NormFloat64()
			if r.IntN(2) == 0 {
				e.Reading.Probe, e.Reading.Value = "air", air(at)
			}
		}
		if r.IntN(60) == 0 {
			w := &farm.Weather{Topic: "weather/hours"}
			for h := range 36 {
				to := at.Add(time.Duration(h) * time.Hour)
				w.Hours = append(w.Hours, farm.WeatherHour{At: to, TempC: air(to) + r.NormFloat64()})
			}
			e = farm.Event{Kind: farm.EventWeather, Arrived: at, Weather: w}
		}
		out = append(out, e)
	}
	return out
}

// Wherever a snapshot was taken, what the room brings goes on as in a life without
// restart.
func TestReplayOfARoomFromAnySnapshot(t *testing.T) {
	efforttest.Long(t)
	changes := map[farm.Condition]int{}
	for seed := range uint64(4) {
		r := rand.New(rand.NewPCG(seed, 3))
		events := outdoors(seed, 3000)
		cuts := []int{r.IntN(len(events)), r.IntN(len(events)), r.IntN(len(events))}
		whole := watching(yard())
		var resumed []*watched
		for i, e := range events {
			if slices.Contains(cuts, i) {
				saved, err := whole.state.Save()
				if err != nil {
					t.Fatal(err)
				}
				state, err := rules.Restore(yard(), saved, farm.Renames{})
				if err != nil {
					t.Fatal(err)
				}
				resumed = append(resumed, &watched{state: state, changes: slices.Clone(whole.changes)})
			}
			whole.step(e)
			for _, w := range resumed {
				w.step(e)
			}
		}
		end := events[len(events)-1].Arrived
		for i, w := range resumed {
			if diff := cmp.Diff(whole.changes, w.changes); diff != "" {
				t.Errorf("seed %d: changes differ after a restart at event %v, number %d (-whole +resumed):\n%s", seed, cuts, i, diff)
			}
			if diff := cmp.Diff(whole.state.Look(end), w.state.Look(end), cmpopts.EquateEmpty()); diff != "" {
				t.Errorf("seed %d: views differ after a restart at event %v, number %d (-whole +resumed):\n%s", seed, cuts, i, diff)
			}
		}
		for _, ch := range whole.changes {
			changes[ch.Condition]++
		}
	}
	if changes[farm.Cooling] < 4 || changes[farm.Warming] < 2 {
		t.Errorf("the room brought %v; the test shows nothing", changes)
	}
}

// By when something is to be done: in the evening before a night, else before it may come.
func TestWhenToActOnWhatTheRoomBrings(t *testing.T) {
	at := func(day, hour int) time.Time { return time.Date(2026, 5, day, hour, 0, 0, 0, time.UTC) }
	for _, tt := range []struct {
		now, earliest, crosses time.Time
		want                   string
	}{
		{at(6, 8), at(6, 10), at(6, 11), "by about 10 am"},
		{at(6, 8), at(7, 2), at(7, 4), "before night"},
		{at(6, 8), at(6, 20), at(6, 22), "before night"},
		{at(6, 8), at(7, 7), at(7, 9), "before night"},
		{at(6, 8), at(7, 10), at(7, 12), "by tomorrow about 10 am"},
		{at(6, 20), at(7, 2), at(7, 4), "by tomorrow about 2 am"},
		{at(7, 1), at(7, 3), at(7, 4), "by about 3 am"},
		{at(7, 1), at(7, 1), at(7, 4), "now"},
		{at(7, 2), at(7, 1), at(7, 4), "by about 4 am"}, // it might have come by now
		{at(7, 2), time.Time{}, at(7, 4), "by about 4 am"},
	} {
		f := farm.Forecast{Crosses: tt.crosses, Earliest: tt.earliest}
		if got := rules.New(yard()).ActBy(f, tt.now); got != tt.want {
			t.Errorf("at %s of %s: got %q, want %q", tt.now.Format("Mon 15:04"), tt.earliest.Format("Mon 15:04"), got, tt.want)
		}
	}
}
