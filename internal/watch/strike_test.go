package watch_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// A life is readings every ten minutes and lines of the logbook now and then.
type life struct {
	r     *rand.Rand
	steps int
	lines map[int]farm.Jot // by step
	wrong int              // the step of the line that is struck
}

func newLife(seed uint64) life {
	l := life{r: rand.New(rand.NewPCG(seed, 1)), steps: 6 * 24 * 5, lines: map[int]farm.Jot{}}
	for range 8 {
		l.lines[l.r.IntN(l.steps)] = farm.Jot{Bin: "bed", What: farm.JotKinds[l.r.IntN(len(farm.JotKinds))], Kg: 1, Litres: 3, Of: "scraps", Words: ""}
	}
	// The wrong line stands somewhere in the first four days, and is one that is learned from.
	does := []farm.JotKind{farm.Fed, farm.Watered, farm.Bedded, farm.Turned, farm.Emptied, "smells sour", "feels wet", farm.Finished}
	l.wrong = l.r.IntN(6 * 24 * 4)
	l.lines[l.wrong] = farm.Jot{Bin: "bed", What: does[l.r.IntN(len(does))], Kg: 2, Litres: 20, Of: "grain"}
	return l
}

// measured are the temperature and the moisture of a step.
func (l life) measured(step int) (c, pct float64) {
	hours := float64(step) / 6
	return 20 + 9*math.Sin(hours/9), 74 - hours/8 + 4*math.Sin(hours/30)
}

// A line that is struck is unlearned: the farm stands as if it had never been written, also
// after a restart, whatever else was written before and since. Nothing that was told and
// stands is told again.
func TestAStruckLineIsUnlearned(t *testing.T) {
	for seed := range uint64(efforttest.Cases(3, 30)) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) { liveTwice(t, newLife(seed)) })
		})
	}
}

func liveTwice(t *testing.T, l life) {
	ctx := context.Background()
	struck, never := newRig(t, time.Now), newRig(t, time.Now)
	both := []*rig{struck, never}
	for _, r := range both {
		r.broker.link(true, false)
	}
	strikeAt := l.wrong + 1 + l.r.IntN(6*20)
	var id int64
	for step := range l.steps {
		c, pct := l.measured(step)
		for _, r := range both {
			r.broker.publish("bed/t", fmt.Sprintf("%.2f", c))
			r.broker.publish("bed/m", fmt.Sprintf("%.2f", pct))
			synctest.Wait()
			if j, ok := l.lines[step]; ok && !(r == never && step == l.wrong) {
				if err := r.loop.Act(ctx, farm.Event{Kind: farm.EventJot, Jot: j}); err != nil {
					t.Fatal(err)
				}
			}
		}
		switch step {
		case l.wrong:
			lines, err := struck.journal.LastLines(ctx, 1)
			if err != nil {
				t.Fatal(err)
			}
			id = lines[0].ID
		case strikeAt:
			strike := farm.Event{Kind: farm.EventStrike, Strike: farm.Strike{Line: id, By: "page"}}
			if err := struck.loop.Act(ctx, strike); err != nil {
				t.Fatal(err)
			}
			if err := struck.loop.Act(ctx, strike); !errors.Is(err, journal.ErrNoLine) {
				t.Errorf("struck twice: %v", err)
			}
		case strikeAt + 6:
			alike(t, "an hour after the strike", struck, never)
		}
		time.Sleep(10 * time.Minute)
	}
	alike(t, "at the end", struck, never)
	struck.stop()
	never.stop()
	struck.start()
	never.start()
	alike(t, "after a restart", struck, never)
	toldOnce(t, struck)
}

// alike compares how two farms stand, but for what was told.
func alike(t *testing.T, when string, a, b *rig) {
	t.Helper()
	stands := func(r *rig) string {
		synctest.Wait()
		v, err := r.loop.Look(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		text, err := json.MarshalIndent(v.Bins, "", " ")
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	if diff := cmp.Diff(stands(b), stands(a)); diff != "" {
		t.Errorf("%s (-never written +struck):\n%s", when, diff)
	}
}

// toldOnce checks that nothing is raised that stands already.
func toldOnce(t *testing.T, r *rig) {
	t.Helper()
	all, err := r.journal.Changes(context.Background(), "bed", time.Time{}, time.Now().Add(time.Hour))
	if err != nil || len(all) == 0 {
		t.Fatalf("changes: %d, %v", len(all), err)
	}
	stands := map[farm.Condition]string{}
	for _, ch := range all {
		switch ch.Change {
		case farm.Raised:
			if on := stands[ch.Condition]; on != "" {
				t.Errorf("%s is raised as %s while %s stands", ch.Condition, ch.Episode, on)
			}
			stands[ch.Condition] = ch.Episode
		case farm.Eased:
			delete(stands, ch.Condition)
		}
	}
}
