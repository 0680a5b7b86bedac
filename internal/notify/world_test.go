package notify_test

import (
	"fmt"
	"slices"
	"sync"
	"time"

	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
)

// A step is one thing that happens in a random history, after a wait.
type step struct {
	Wait    time.Duration
	What    string // change, hush, seen, server, disk, restart
	Episode int
	Urgency farm.Urgency  // change: what it comes to; Calm eases it
	For     time.Duration // hush
	Verdict int           // server: what it answers from now on
}

func drawSteps(t *rapid.T) []step {
	waits := rapid.OneOf(
		rapid.SampledFrom([]time.Duration{0, time.Second, 5 * time.Second, 30 * time.Second}),
		rapid.Map(rapid.IntRange(1, 30), func(n int) time.Duration { return time.Duration(n) * time.Minute }),
		rapid.Map(rapid.IntRange(1, 10), func(n int) time.Duration { return time.Duration(n) * time.Hour }),
	)
	one := rapid.Custom(func(t *rapid.T) step {
		return step{
			Wait:    waits.Draw(t, "wait"),
			What:    rapid.SampledFrom([]string{"change", "change", "change", "change", "change", "change", "hush", "hush", "seen", "server", "server", "disk", "restart"}).Draw(t, "what"),
			Episode: rapid.IntRange(0, 3).Draw(t, "episode"),
			Urgency: rapid.SampledFrom([]farm.Urgency{farm.Calm, farm.Calm, farm.Soon, farm.Today, farm.Now}).Draw(t, "urgency"),
			For:     time.Duration(rapid.IntRange(1, 12).Draw(t, "hours")) * time.Hour,
			Verdict: rapid.IntRange(0, 5).Draw(t, "verdict"),
		}
	})
	return rapid.SliceOfN(one, 1, 60).Draw(t, "steps")
}

// An episode is one condition as the test knows it to be.
type episode struct {
	now    farm.Urgency
	begun  bool
	seen   bool
	hushed time.Time
	ever   bool // hushed at some time
}

// A world is what the sender sees, and a record of what its servers saw.
type world struct {
	cfg notify.Config
	box *box

	mu       sync.Mutex
	episodes [4]episode
	verdict  int
	restarts []time.Time
	tried    []attempt
}

// An attempt is a bundle that a server saw, and what it answered.
type attempt struct {
	notify.Carried
	accepted bool
	arrived  bool // the teller has it, whatever the sender heard
	hushed   map[string]bool
}

var conditions = [4]farm.Condition{farm.TooHot, farm.TooHot, farm.TooDry, farm.Silent}

// change moves an episode, and owes what follows from it.
func (w *world) change(n int, to farm.Urgency, now time.Time) {
	w.mu.Lock()
	e := &w.episodes[n]
	c := farm.Change{
		At: now, Bin: fmt.Sprintf("bin%d", n%3), Condition: conditions[n], Urgency: to,
		Text: fmt.Sprintf("episode %d", n), Episode: name(n), Since: now,
	}
	switch {
	case to == e.now:
		w.mu.Unlock()
		return
	case e.now == farm.Calm:
		c.Change, c.Again = farm.Raised, e.begun
		e.begun, e.seen = true, false
	case to == farm.Calm:
		c.Change, c.Urgency = farm.Eased, e.now
	case to > e.now:
		c.Change = farm.Worsened
	default:
		c.Change = farm.Lightened
	}
	e.now = to
	w.mu.Unlock()
	w.box.add(notify.OwedFor(w.cfg.Tellers, c, now)...)
}

func name(n int) string { return fmt.Sprintf("episode-%d", n) }

// look is the view that the rules would give.
func (w *world) look() (farm.View, bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	var v farm.View
	now := time.Now()
	for n, e := range w.episodes {
		bin := fmt.Sprintf("bin%d", n%3)
		if e.hushed.After(now) {
			v.Hushes = append(v.Hushes, farm.Hush{Bin: bin, Condition: conditions[n], Until: e.hushed})
		}
		if e.now == farm.Calm {
			continue
		}
		st := farm.Standing{Episode: name(n), Bin: bin, Condition: conditions[n], Urgency: e.now, Seen: e.seen}
		if e.hushed.After(now) {
			until := e.hushed
			st.Hushed = &until
		}
		v.Standing = append(v.Standing, st)
	}
	return v, true
}

// take is every server of the world.
func (w *world) take(c notify.Carried) int {
	w.mu.Lock()
	defer w.mu.Unlock()
	a := attempt{Carried: c, hushed: map[string]bool{}}
	for n, e := range w.episodes {
		a.hushed[name(n)] = e.hushed.After(c.At)
	}
	verdict := 0
	had := slices.ContainsFunc(w.tried, func(b attempt) bool { return b.arrived && b.Teller == c.Teller && b.ID == c.ID })
	switch w.verdict {
	case 1, 2: // half of all answers are that all is well
		if verdict = w.verdict; verdict == 1 && had {
			verdict = 0 // what a server has taken once it does not refuse the second time
		}
	case 3: // lost after the bundle was taken; a push cannot be known again, so it is not taken
		verdict, a.arrived = 3, c.Teller[:4] != "push"
	}
	a.accepted = verdict == 0
	a.arrived = a.arrived || a.accepted
	w.tried = append(w.tried, a)
	return verdict
}

// attempts of one teller, in order.
func (w *world) attempts(teller string) []attempt {
	return slices.DeleteFunc(slices.Clone(w.tried), func(a attempt) bool { return a.Teller != teller })
}
