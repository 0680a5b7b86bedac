package watch_test

import (
	"context"
	"errors"
	"path/filepath"
	"slices"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"binwatchd/internal/clock"
	"binwatchd/internal/farm"
)

// A pi has no battery clock: its wall clock is off by some time, until a time
// server sets it.
type pi struct {
	boot   time.Time // of the bubble's time
	off    atomic.Int64
	synced atomic.Bool
}

func (p *pi) wall() time.Time { return time.Now().Add(time.Duration(p.off.Load())) }

func (p *pi) sources() *clock.Sources {
	return &clock.Sources{
		Wall: p.wall, SinceBoot: func() time.Duration { return time.Since(p.boot) }, Synced: p.synced.Load,
	}
}

// rigOnPi begins with a wall clock that is off.
func rigOnPi(t *testing.T, off time.Duration) (*rig, *pi) {
	t.Helper()
	p := &pi{boot: time.Now().Add(-time.Minute)}
	p.off.Store(int64(off))
	r := &rig{t: t, path: filepath.Join(t.TempDir(), "journal.db"), now: p.wall, clock: p.sources(), built: time.Now().AddDate(0, -1, 0)}
	r.start()
	return r, p
}

// stamps lists when the readings of a probe were measured, as the journal has
// it.
func (r *rig) stamps(probe string) []time.Time {
	r.t.Helper()
	var out []time.Time
	err := r.journal.Replay(context.Background(), 0, func(e farm.Event) error {
		if e.Kind == farm.EventReading && e.Reading.Probe == probe {
			out = append(out, e.Reading.At)
		}
		return nil
	})
	if err != nil {
		r.t.Fatal(err)
	}
	return out
}

func TestReadingsBeforeTheClockIsSetGetTheirTimesAfterwards(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r, p := rigOnPi(t, -50*365*24*time.Hour)
		r.broker.link(true, false)
		first := time.Now()
		for range 6 {
			r.broker.publish("bed/t", "28")
			time.Sleep(10 * time.Minute)
		}
		synctest.Wait()
		if got := len(r.broker.acks()); got != 6 {
			t.Errorf("got %d acknowledged with a wrong clock, want all 6", got)
		}
		if r.loop.TimesFinal() {
			t.Error("times are said to be final before the clock is set")
		}
		v, err := r.loop.Look(context.Background())
		if err != nil || len(v.Standing) == 0 {
			t.Errorf("got %+v, %v, want the heat judged at once", v.Standing, err)
		}

		p.off.Store(0)
		p.synced.Store(true)
		time.Sleep(2 * time.Minute)
		synctest.Wait()
		if !r.loop.TimesFinal() {
			t.Error("times are not final though the clock is set")
		}
		r.mu.Lock()
		if !slices.Equal(r.moved, []int64{1}) {
			t.Errorf("told that times moved from %v on, want once, from the first", r.moved)
		}
		r.mu.Unlock()
		for i, at := range r.stamps("t") {
			want := first.Add(time.Duration(i) * 10 * time.Minute)
			if off := at.Sub(want).Abs(); off > 3*time.Second {
				t.Errorf("reading %d bears %s, want %s", i, at, want)
			}
		}
		r.checkNoSilenceBut(t, "m")
	})
}

// checkNoSilenceBut: a jump of the clock is no silence of a probe that spoke.
func (r *rig) checkNoSilenceBut(t *testing.T, probes ...string) {
	t.Helper()
	for after, more := int64(0), true; more; {
		s, err := r.journal.Forward(context.Background(), after, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, ch := range s.Changes {
			if ch.Condition == farm.Silent && !slices.Contains(probes, ch.Probe) {
				t.Errorf("got %s of %s at %s, want no silence from a jump", ch.Change, ch.Probe, ch.At)
			}
		}
		after, more = s.Last, s.Last > after
	}
}

func TestJumpsOfTheClockHarmNothing(t *testing.T) {
	for name, jump := range map[string]time.Duration{"ahead": 10 * 365 * 24 * time.Hour, "back": -40 * 24 * time.Hour} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				r, p := rigOnPi(t, 0)
				r.built = time.Now().AddDate(-1, 0, 0)
				r.broker.link(true, false)
				speak := func(n int) {
					for range n {
						r.broker.publish("bed/t", "20")
						time.Sleep(10 * time.Minute)
					}
				}
				begin := time.Now()
				speak(6)
				p.off.Store(int64(jump)) // somebody sets a wrong date; nobody keeps the clock
				speak(6)
				p.off.Store(0)
				p.synced.Store(true)
				speak(6)
				time.Sleep(2 * time.Minute)
				synctest.Wait()
				stamps := r.stamps("t")
				if len(stamps) != 18 {
					t.Fatalf("got %d readings, want 18", len(stamps))
				}
				for i, at := range stamps {
					want := begin.Add(time.Duration(i) * 10 * time.Minute)
					if off := at.Sub(want).Abs(); off > 5*time.Second {
						t.Errorf("reading %d bears %s, want %s", i, at, want)
					}
				}
				r.checkNoSilenceBut(t, "m")
			})
		})
	}
}

// A clock that the kernel calls synchronised is set a month off, and that is taken
// back hours later: what was noted meanwhile gets its true times, once and for all.
func TestAMonthThatIsTakenBack(t *testing.T) {
	for name, jump := range map[string]time.Duration{"ahead": 31 * 24 * time.Hour, "back": -31 * 24 * time.Hour} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				r, p := rigOnPi(t, 0)
				r.built = time.Now().AddDate(-1, 0, 0)
				p.synced.Store(true)
				time.Sleep(2 * time.Minute) // it is known to be synchronised
				r.broker.link(true, false)
				begin := time.Now()
				speak := func(n int) {
					for range n {
						r.broker.publish("bed/t", "20")
						time.Sleep(10 * time.Minute)
					}
				}
				speak(30)
				p.off.Store(int64(jump))
				jot := farm.Jot{Bin: "bed", What: farm.Fed, Kg: 1}
				if err := r.loop.Act(t.Context(), farm.Event{Kind: farm.EventJot, Jot: jot}); err != nil {
					t.Fatal(err)
				}
				fed := time.Now()
				speak(30)
				p.off.Store(0)
				speak(30)
				time.Sleep(2 * time.Minute)
				synctest.Wait()
				check := func(when string) {
					t.Helper()
					stamps := r.stamps("t")
					if len(stamps) != 90 {
						t.Fatalf("%s: got %d readings, want 90", when, len(stamps))
					}
					for i, at := range stamps {
						if off := at.Sub(begin.Add(time.Duration(i) * 10 * time.Minute)); off.Abs() > 5*time.Second {
							t.Errorf("%s: reading %d is off by %s", when, i, off)
						}
					}
				}
				check("taken back")
				v, err := r.loop.Look(t.Context())
				if err != nil || len(v.Bins[0].Zones[0].Food) != 1 {
					t.Fatalf("got %+v, %v, want the one feed", v.Bins, err)
				}
				if off := v.Bins[0].Zones[0].Food[0].At.Sub(fed); off.Abs() > 5*time.Second {
					t.Errorf("what was fed meanwhile is off by %s", off)
				}
				if !v.Intake.Connected || !v.Probes[0].Fresh {
					t.Errorf("got %+v, want the probe heard and the broker there", v.Probes[0])
				}
				if off := time.Until(r.loop.Time()); off.Abs() > time.Second {
					t.Errorf("the time is off by %s", off)
				}
				r.checkNoSilenceBut(t, "m", "s", "s2") // which never speak
				r.stop()
				r.start()
				check("after a restart")
				r.checkNoSilenceBut(t, "m", "s", "s2") // which never speak
			})
		})
	}
}

// One wrong jump ahead in the past does not bind a synchronised clock.
func TestAPoisonedJournalIsLeftBehind(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r, p := rigOnPi(t, 10*365*24*time.Hour)
		r.broker.link(true, false)
		r.broker.publish("bed/t", "20")
		time.Sleep(time.Minute)
		synctest.Wait()
		r.stop()

		p.off.Store(0)
		p.synced.Store(true)
		r.start()
		r.broker.link(true, true)
		r.broker.publish("bed/t", "21")
		time.Sleep(time.Minute)
		synctest.Wait()
		stamps := r.stamps("t")
		if last := stamps[len(stamps)-1]; last.After(time.Now()) {
			t.Errorf("got a reading at %s, want the clock of now to count", last)
		}
		r.checkNoSilenceBut(t, "m")
	})
}

// Journal time as others see it goes on from what is on disk, and what is old by
// it is thrown away only by a clock that somebody vouches for, or that has gone on
// for a week.
func TestTimeForOthers(t *testing.T) {
	const day = 24 * time.Hour
	for name, c := range map[string]struct {
		off   time.Duration
		least time.Duration // of journal time, from now
	}{
		"in 1970": {-56 * 365 * day, 0}, "400 days behind": {-400 * day, 0}, "a year ahead": {365 * day, 365 * day},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				r, p := rigOnPi(t, 0)
				p.synced.Store(true)
				r.broker.link(true, false)
				r.broker.publish("bed/t", "20")
				time.Sleep(2 * time.Minute)
				synctest.Wait()
				if !r.loop.TimeSure() || time.Until(r.loop.Time()).Abs() > time.Second {
					t.Errorf("got %s, sure %v, by a synchronised clock", r.loop.Time(), r.loop.TimeSure())
				}
				r.stop()
				p.off.Store(int64(c.off))
				p.synced.Store(false)
				r.start()
				if off := r.loop.Time().Sub(time.Now().Add(c.least)); off.Abs() > 3*time.Minute {
					t.Errorf("got %s, want about %s", r.loop.Time(), time.Now().Add(c.least))
				}
				if r.loop.TimeSure() {
					t.Error("sure of a clock that nobody vouches for")
				}
				r.broker.link(true, true)
				time.Sleep(8 * day)
				synctest.Wait()
				if !r.loop.TimeSure() {
					t.Error("not sure of a clock that has gone on for a week")
				}
				p.off.Store(0)
				p.synced.Store(true)
				time.Sleep(2 * time.Minute)
				synctest.Wait()
				if off := time.Until(r.loop.Time()); off.Abs() > time.Second || !r.loop.TimeSure() {
					t.Errorf("got %s once the clock is set, which is off by %s; sure %v", r.loop.Time(), off, r.loop.TimeSure())
				}
			})
		})
	}
}

// A wall clock that is put back by years, in an outage or out of one, puts off
// neither the next try nor the next commit.
func TestWallClockPutBackPutsNothingOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r, p := rigOnPi(t, 0)
		r.broker.link(true, false)
		time.Sleep(time.Minute)
		synctest.Wait()
		r.disk.set(errors.New("no"))
		r.broker.publish("bed/t", "20")
		time.Sleep(40 * time.Second)
		synctest.Wait()
		p.off.Store(int64(-400 * 24 * time.Hour))
		r.disk.set(nil)
		time.Sleep(2 * time.Minute)
		synctest.Wait()
		if n := r.broker.reconnects.Load(); n != 1 {
			t.Fatalf("got %d reconnects, want the outage to end", n)
		}
		r.broker.publish("bed/t", "21")
		time.Sleep(time.Second)
		p.off.Store(int64(-800 * 24 * time.Hour))
		time.Sleep(2 * time.Minute)
		synctest.Wait()
		if got := r.readings("t"); len(got) == 0 || got[len(got)-1] != 21 {
			t.Errorf("got %v on disk, want the last one to be there", got)
		}
	})
}
