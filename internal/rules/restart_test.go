package rules_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
	"binwatchd/internal/rules"
)

// history makes a wild but possible life: swings past every limit, doubts,
// silences, jots, hushes, lost links.
func history(seed uint64, n int) []farm.Event {
	r := rand.New(rand.NewPCG(seed, 1))
	at := t0
	var out []farm.Event
	for range n {
		at = at.Add(time.Duration(r.IntN(900)) * time.Second)
		if r.IntN(200) == 0 {
			at = at.Add(time.Duration(r.IntN(30)) * time.Hour)
		}
		out = append(out, anEvent(r, at))
	}
	return out
}

func anEvent(r *rand.Rand, at time.Time) farm.Event {
	hours := at.Sub(t0).Hours()
	e := farm.Event{Arrived: at}
	switch k := r.IntN(100); {
	case k < 45:
		v := 22 + 13*math.Sin(hours/9) + r.NormFloat64()
		e.Kind, e.Reading = farm.EventReading, farm.Reading{Probe: "t", At: at, Raw: v, Value: v}
	case k < 88:
		v := 72 + 20*math.Sin(hours/40) + r.NormFloat64()
		e.Kind, e.Reading = farm.EventReading, farm.Reading{Probe: "m", At: at, Raw: v, Value: v}
	case k < 92:
		v := 3.3 + 0.2*r.NormFloat64()
		e.Kind, e.Reading = farm.EventReading, farm.Reading{Probe: "b", At: at, Raw: v, Value: v}
	case k < 95:
		kinds := farm.JotKinds
		done := at
		if r.IntN(3) == 0 { // written late
			done = at.Add(-time.Duration(r.IntN(40*24)) * time.Hour)
		}
		e.Kind, e.Jot = farm.EventJot, farm.Jot{At: done, Bin: "bed", What: kinds[r.IntN(len(kinds))], Kg: 1, Litres: 2, Of: "grain"}
	case k < 96:
		e.Kind, e.Hush = farm.EventHush, farm.Hush{Bin: "bed", Until: at.Add(time.Hour)}
	case k < 97:
		e.Kind, e.Up = farm.EventLink, r.IntN(2) == 0
	case k < 98 && r.IntN(2) == 0:
		e.Kind, e.Alive = farm.EventAlive, &farm.Liveness{Topic: "t/alive", Gone: r.IntN(2) == 0, Says: "so"}
	case k < 98:
		e.Kind = farm.EventStart
	default:
		e.Kind = farm.EventTick
		e.Arrived = at.Truncate(time.Minute)
	}
	if e.Kind == farm.EventReading && r.IntN(20) == 0 {
		e.Reading.Doubt = farm.Doubt(1 + r.IntN(6))
	}
	if e.Kind == farm.EventReading && r.IntN(30) == 0 {
		e.Reading.Uncertain = true
	}
	return e
}

// A restart is the last snapshot and a replay of what came after it: wherever
// the snapshot was taken, the changes are those of a life without restart.
func TestReplayFromAnySnapshotEqualsReplayFromTheStart(t *testing.T) {
	efforttest.Long(t)
	rapid.Check(t, func(t *rapid.T) {
		events := history(rapid.Uint64().Draw(t, "seed"), 1500)
		cut := rapid.IntRange(0, len(events)).Draw(t, "cut")
		whole, resumed := watching(nursery(farm.Living, "red", "blue")), watching(nursery(farm.Living, "red", "blue"))
		for i, e := range events {
			if i == cut {
				resumed.restart(t)
			}
			whole.step(e)
			resumed.step(e)
		}
		if diff := cmp.Diff(whole.changes, resumed.changes); diff != "" {
			t.Fatalf("changes differ after a restart at event %d (-whole +resumed):\n%s", cut, diff)
		}
		end := events[len(events)-1].Arrived
		if diff := cmp.Diff(whole.state.Look(end), resumed.state.Look(end), cmpopts.EquateEmpty()); diff != "" {
			t.Fatalf("views differ after a restart at event %d (-whole +resumed):\n%s", cut, diff)
		}
	})
}

func (w *watched) restart(t *rapid.T) {
	data, err := w.state.Save()
	if err != nil {
		t.Fatal(err)
	}
	state, err := rules.Restore(nursery(farm.Living, "red", "blue"), data, farm.Renames{})
	if err != nil {
		t.Fatal(err)
	}
	w.state = state
}

// The life of a condition is raised, then worsened and lightened at will, then
// eased; never raised twice, never eased without being raised.
func TestEveryConditionLivesInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := watching(nursery(farm.Living, "red", "blue"))
		for _, e := range history(rapid.Uint64().Draw(t, "seed"), 2000) {
			w.step(e)
		}
		urgency := map[string]farm.Urgency{}
		for _, ch := range w.changes {
			k := ch.Bin + "/" + ch.Zone + "/" + ch.Probe + "/" + string(ch.Condition)
			before := urgency[k]
			good := false
			switch ch.Change {
			case farm.Raised:
				good = before == farm.Calm && ch.Urgency > farm.Calm
			case farm.Worsened:
				good = before > farm.Calm && ch.Urgency > before
			case farm.Lightened:
				good = ch.Urgency > farm.Calm && ch.Urgency < before
			case farm.Eased:
				good = before > farm.Calm && ch.Urgency == before
			}
			if !good {
				t.Fatalf("%s of %s at %s while at %q", ch.Change, k, ch.Urgency, before)
			}
			if ch.Text == "" || ch.Episode == "" {
				t.Fatalf("a change without words or episode: %+v", ch)
			}
			urgency[k] = ch.Urgency
			if ch.Change == farm.Eased {
				urgency[k] = farm.Calm
			}
		}
	})
}

func TestAdoptKeepsWhatTheKeeperWasTold(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	w.hold("t", t0, t0.Add(2*time.Hour), 33)
	raised := only(t, w.of(farm.TooHot))

	// The keeper has allowed more heat meanwhile: a replay would not raise it.
	f := nursery(farm.Living, "red")
	f.Bins[0].Zones[0].Bands = map[farm.Quantity]farm.Bands{farm.Temperature: farm.Bands{Thrive: farm.Band{Low: 10, High: 34}, Survive: farm.Band{Low: 5, High: 36}}}
	later := watching(f)
	later.hold("t", t0, t0.Add(2*time.Hour), 33)
	if got := later.of(farm.TooHot); len(got) != 0 {
		t.Fatalf("got %+v, want none under the wider bands", got)
	}
	if gone := later.state.Reconcile([]farm.Change{raised}); len(gone) != 0 {
		t.Fatalf("got %+v, want nothing gone", gone)
	}
	later.hold("t", t0.Add(2*time.Hour), t0.Add(4*time.Hour), 33)
	got := only(t, later.of(farm.TooHot))
	if got.Change != farm.Eased || got.Episode != raised.Episode {
		t.Errorf("got %+v, want the old episode eased", got)
	}
}

func TestAdoptEasesWhatIsNoLongerThere(t *testing.T) {
	s := rules.New(nursery(farm.Living, "red"))
	s.Step(farm.Event{Kind: farm.EventTick, Arrived: t0})
	gone := s.Reconcile([]farm.Change{{
		At: t0.Add(-time.Hour), Bin: "old", Zone: "all", Condition: farm.TooDry, Change: farm.Raised, Urgency: farm.Now, Episode: "e", Text: "dry",
	}})
	got := only(t, gone)
	if got.Change != farm.Eased || got.Urgency != farm.Now || !got.At.Equal(t0) {
		t.Errorf("got %+v, want it eased at %s", got, t0)
	}
}

// A clock that was wrong and is put right must not make probes silent or end
// breaches.
func TestPuttingTheClockRightMovesEverythingAlong(t *testing.T) {
	shift := 400 * 24 * time.Hour
	w := watching(nursery(farm.Living, "red"))
	w.hold("t", t0, t0.Add(time.Hour+10*time.Minute), 28)
	now := t0.Add(shift + time.Hour + 5*time.Minute)
	w.step(farm.Event{Kind: farm.EventClock, Arrived: now, Shift: shift})
	w.hold("t", now.Add(5*time.Minute), now.Add(2*time.Hour), 28)
	if got := w.of(farm.TooHot); len(got) != 1 {
		t.Errorf("got %+v, want the one breach to go on", briefs(got))
	}
	for _, ch := range w.of(farm.Silent) {
		if ch.Probe == "t" {
			t.Errorf("got %+v, want no silence from a jump", ch)
		}
	}
}
