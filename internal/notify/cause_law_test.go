package notify_test

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
)

// spell is one bin's cold in a random history: how urgent it becomes, after which wait.
type spell struct {
	Wait    time.Duration
	Bin     int // 0 to 5 stand in one shed, 6 to 8 in another
	Urgency farm.Urgency
	Stop    bool
	Death   int // the step at which the program is killed that runs from then on; 0: none
}

// Over random histories of two sheds, with stops and kills: a letter about a cause follows the first after
// two minutes and each other after a quarter of an hour, unless it is about another shed or an end, too; what is
// at now waits no longer than that; and every fact is told once, and its end.
func TestACauseIsToldAtItsPace(t *testing.T) {
	waits := rapid.OneOf(
		rapid.Map(rapid.IntRange(0, 90), func(n int) time.Duration { return time.Duration(n) * time.Second }),
		rapid.Map(rapid.IntRange(1, 40), func(n int) time.Duration { return time.Duration(n) * time.Minute }),
	)
	one := rapid.Custom(func(t *rapid.T) spell {
		return spell{
			waits.Draw(t, "wait"), rapid.IntRange(0, 8).Draw(t, "bin"),
			rapid.SampledFrom([]farm.Urgency{farm.Calm, farm.Today, farm.Now, farm.Now}).Draw(t, "urgency"), rapid.IntRange(0, 9).Draw(t, "stop") == 0,
			max(0, rapid.IntRange(-40, 9).Draw(t, "death")),
		}
	})
	few := rapid.SliceOfN(one, 1, efforttest.Cases(12, 25))
	rapid.Check(t, func(rt *rapid.T) {
		spells := few.Draw(rt, "spells")
		var wrong []string
		synctest.Test(t, func(t *testing.T) {
			w := &coldWorld{t: t, disk: newBox(), now: map[int]farm.Urgency{}}
			w.live(notify.ByMail, spells)
			wrong = w.audit()
		})
		if len(wrong) > 0 {
			rt.Fatalf("%d things wrong, first: %s", len(wrong), wrong[0])
		}
	})
}

// A coldWorld is two sheds, what became of their bins, and the letters of one keeper.
type coldWorld struct {
	t       *testing.T
	cfg     notify.Config
	disk    disklike
	death   int // the step at which the life is killed that begins next; 0: none
	deaths  int
	mu      sync.Mutex
	now     map[int]farm.Urgency // read by the sender
	raised  []farm.Change        // all of them, by time
	letters []notify.Carried
}

func (w *coldWorld) live(kind notify.Kind, spells []spell) {
	f := farm.Farm{Name: "Hillfoot", Location: time.UTC, Rooms: []farm.Room{{Name: "linden"}, {Name: "maple"}}}
	for n := range 9 {
		f.Bins = append(f.Bins, farm.Bin{Name: binName(n), Room: shedOf(binName(n)), Zones: []farm.Zone{{Name: "all", Aim: farm.Living}}})
	}
	w.cfg = notify.Config{
		Farm: f, Now: time.Now, Mail: notify.Mail{MailSettings: notify.MailSettings{Server: "127.0.0.1:25", From: "bins@example.org"}},
		Tellers: notify.Named([]notify.Teller{tellerOf(kind)}),
	}
	stop := w.open()
	for _, s := range spells {
		time.Sleep(s.Wait)
		synctest.Wait()
		if s.Stop || s.Death > 0 {
			stop()
			w.death = s.Death
			stop = w.open()
		}
		w.turn(s.Bin, s.Urgency)
		synctest.Wait()
	}
	for n := range 9 {
		time.Sleep(time.Minute)
		w.turn(n, farm.Calm)
	}
	time.Sleep(3 * time.Hour)
	synctest.Wait()
	stop()
}

func binName(n int) string { return fmt.Sprintf("bin-%d", n) }

func shedOf(bin string) string {
	if bin < binName(6) {
		return "linden"
	}
	return "maple"
}

func (w *coldWorld) look() (v farm.View, ok bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for n := range 9 {
		if u := w.now[n]; u != farm.Calm {
			v.Standing = append(v.Standing, farm.Standing{Episode: "cold-" + binName(n), Bin: binName(n), Zone: "all", Condition: farm.TooCold, Urgency: u, Since: time.Now()})
		}
	}
	return v, true
}

// turn brings a bin to an urgency.
func (w *coldWorld) turn(n int, to farm.Urgency) {
	w.mu.Lock()
	defer w.mu.Unlock()
	was := w.now[n]
	c := farm.Change{At: time.Now(), Bin: binName(n), Zone: "all", Condition: farm.TooCold, Episode: "cold-" + binName(n), Urgency: to, Since: time.Now()}
	switch {
	case to == was:
		return
	case was == farm.Calm:
		c.Change = farm.Raised
	case to == farm.Calm:
		c.Change, c.Urgency = farm.Eased, was
	case to > was:
		c.Change = farm.Worsened
	default:
		c.Change = farm.Lightened
	}
	w.now[n] = to
	w.raised = append(w.raised, c)
	w.disk.keep(c, notify.OwedFor(w.cfg.Tellers, c, c.At))
}

func (w *coldWorld) audit() (wrong []string) {
	bad := func(format string, args ...any) { wrong = append(wrong, fmt.Sprintf(format, args...)) }
	w.once(bad)
	if w.cfg.Tellers[0].Kind == notify.ByWebhook {
		w.auditFacts(bad) // a program has no pace
		return wrong
	}
	for _, shed := range []string{"linden", "maple"} {
		var all, pressing []time.Time
		for _, l := range w.letters {
			mine, theirs, now := false, false, false
			for _, it := range l.Items {
				here := shedOf(it.Change.Bin) == shed
				mine = mine || here && (it.Say == "stands" || it.Say == "lighter")
				now = now || here && it.Pressing
				theirs = theirs || !here || it.Say == "over"
			}
			before := all
			if now { // the first that is at now does not wait for what is less urgent
				before = pressing
			}
			before = slices.DeleteFunc(slices.Clone(before), func(at time.Time) bool { return l.At.Sub(at) >= time.Hour })
			if n := len(before); mine && !theirs && n > 0 {
				least := 15 * time.Minute
				if n == 1 {
					least = 2 * time.Minute
				}
				if gap := l.At.Sub(before[n-1]); gap < least {
					bad("%s: a letter %s after the %d of the last hour, at %s", shed, gap, n, l.At)
				}
			}
			if mine {
				all = append(all, l.At)
			}
			if now {
				pressing = append(pressing, l.At)
			}
		}
	}
	w.auditFacts(bad)
	return wrong
}

// auditFacts: what came to now and stayed so is told within its time, and nothing of it twice.
func (w *coldWorld) auditFacts(bad badly) {
	told := map[string]int{}
	for _, l := range w.letters {
		for _, it := range l.Items {
			told[it.Notice]++
		}
	}
	for notice, n := range told {
		if n > 1 {
			bad("%s was told %d times", notice, n)
		}
	}
	for i, c := range w.raised {
		if c.Urgency != farm.Now || c.Change != farm.Raised && c.Change != farm.Worsened {
			continue
		}
		until := c.At.Add(15*time.Minute + 2*time.Second)
		stays := !slices.ContainsFunc(w.raised[i+1:], func(o farm.Change) bool { return o.Bin == c.Bin && !o.At.After(until) })
		if stays && !slices.ContainsFunc(w.letters, func(l notify.Carried) bool {
			return !l.At.Before(c.At) && !l.At.After(until) && slices.ContainsFunc(l.Items, func(it notify.CarriedItem) bool { return it.Change.Bin == c.Bin && it.Pressing })
		}) {
			bad("%s came to now at %s and was not told by %s", c.Bin, c.At, until)
		}
	}
	if owed, err := w.disk.Owed(context.Background(), w.cfg.Tellers[0].Key, time.Now(), 100); err != nil || len(owed) > 0 {
		bad("%v is owed still, %v", owed, err)
	}
	open := map[string]bool{}
	for _, l := range w.letters {
		for _, it := range l.Items {
			open[it.Change.Episode] = it.Say == "stands" || it.Say == "lighter"
		}
	}
	for e, is := range open {
		if is {
			bad("the end of %s was never told", e)
		}
	}
}
