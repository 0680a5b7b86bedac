package watch_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// events lists what is on disk, also of a rig that is stopped.
func (r *rig) events() []farm.Event {
	r.t.Helper()
	j, err := journal.OpenReadOnly(context.Background(), journal.Config{Path: r.path, Now: r.now})
	if err != nil {
		r.t.Fatal(err)
	}
	defer j.Close()
	var out []farm.Event
	err = j.Replay(context.Background(), 0, func(e farm.Event) error {
		out = append(out, e)
		return nil
	})
	if err != nil {
		r.t.Fatal(err)
	}
	return out
}

// kept lists what is on disk of a probe, in order.
func (r *rig) kept(probe string) []farm.Reading {
	r.t.Helper()
	var out []farm.Reading
	for _, e := range r.events() {
		if e.Kind == farm.EventReading && e.Reading.Probe == probe {
			out = append(out, e.Reading)
		}
	}
	return out
}

// uncertain counts those readings of a probe on disk whose time is.
func (r *rig) uncertain(probe string) (n, of int) {
	r.t.Helper()
	all := r.kept(probe)
	for _, one := range all {
		if one.Uncertain {
			n++
		}
	}
	return n, len(all)
}

// raised tells when a condition was first raised.
func (r *rig) raised(c farm.Condition) (at time.Time, ok bool) {
	r.t.Helper()
	changes, err := r.journal.Changes(context.Background(), "bed", time.Time{}, time.Now().Add(time.Hour))
	if err != nil {
		r.t.Fatal(err)
	}
	i := slices.IndexFunc(changes, func(ch farm.Change) bool { return ch.Condition == c && ch.Change == farm.Raised })
	if i < 0 {
		return at, false
	}
	return changes[i].At, true
}

// speaks has the temperature probe speak for a while.
func (r *rig) speaks(every, long time.Duration, value func(passed time.Duration) float64) {
	for passed := time.Duration(0); passed < long; passed += every {
		r.broker.publish("bed/t", fmt.Sprintf("%.2f", value(passed)))
		time.Sleep(every)
	}
	synctest.Wait()
}

func always(v float64) func(time.Duration) float64 { return func(time.Duration) float64 { return v } }

// The commonest newcomer: `every` is left out and so ten minutes, the probe
// says a bare number every few seconds, the session is fresh. It is judged.
func TestAProbeFasterThanItsEveryIsJudged(t *testing.T) {
	for _, every := range []time.Duration{time.Second, 5 * time.Second, 20 * time.Second, time.Minute} {
		synctest.Test(t, func(t *testing.T) {
			r := newRig(t, time.Now)
			r.broker.link(true, false)
			began := time.Now()
			r.speaks(every, 35*time.Minute, always(39))
			time.Sleep(time.Minute)
			synctest.Wait()
			if n, of := r.uncertain("t"); n != 0 || of == 0 {
				t.Errorf("every %s: %d of %d readings uncertain, want none", every, n, of)
			}
			if at, ok := r.raised(farm.TooHot); !ok || at.Sub(began) > 31*time.Minute {
				t.Errorf("every %s: too-hot raised %v after %s, want it after its patience", every, ok, at.Sub(began))
			}
			v, err := r.loop.Look(context.Background())
			if err != nil || v.Bins[0].Zones[0].Level(farm.Temperature).Value != 39 {
				t.Errorf("every %s: got %+v, %v; want the level at 39", every, v.Bins[0].Zones[0].Level(farm.Temperature), err)
			}
		})
	}
}

// A gateway keeps two days and pours them out while our link stands; it is hot
// meanwhile and afterwards. The heat counts from its first reading on.
func TestHeatAfterAGatewaysPourIsToldInTime(t *testing.T) {
	for _, every := range []time.Duration{10 * time.Second, 10 * time.Minute, time.Hour} {
		synctest.Test(t, func(t *testing.T) {
			r := newRig(t, time.Now)
			r.broker.link(true, false)
			r.speaks(every, 12*every, always(21))
			time.Sleep(48 * time.Hour)
			poured := min(288, int(48*time.Hour/every))
			for i := range poured { // it was cool for most of the time
				r.broker.publish("bed/t", fmt.Sprintf("%.2f", 20+float64(i%7)/10))
				time.Sleep(10 * time.Millisecond)
			}
			time.Sleep(every)
			began := time.Now()
			r.speaks(every, max(40*time.Minute, 4*every), always(45))
			at, ok := r.raised(farm.TooHot)
			if late := at.Sub(began); !ok || late > 31*time.Minute+every {
				t.Errorf("every %s: too-hot raised %v after %s of heat, want it after its patience", every, ok, late)
			}
			if n, _ := r.uncertain("t"); n != poured {
				t.Errorf("every %s: %d readings uncertain, want the %d that were poured", every, n, poured)
			}
			for _, one := range r.kept("t")[12+poured:] {
				if one.Doubt != farm.NoDoubt || one.Uncertain {
					t.Fatalf("every %s: got %+v, want real heat believed from its first reading on", every, one)
				}
			}
		})
	}
}

// A backlog of a resumed session is uncertain, also after a restart in its
// middle; what comes after the marker counts at once.
func TestARestartInTheMiddleOfABacklog(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		r.speaks(10*time.Minute, 2*time.Hour, always(21))
		r.stop()
		time.Sleep(6 * time.Hour)

		r.start()
		r.broker.link(true, true)
		for range 20 {
			r.broker.publish("bed/t", "20")
		}
		time.Sleep(time.Second)
		synctest.Wait()
		r.stop()
		r.start()
		r.broker.link(true, true)
		for range 20 {
			r.broker.publish("bed/t", "20")
		}
		r.broker.caught()
		r.broker.publish("bed/t", "22")
		r.speaks(10*time.Minute, time.Hour, always(22))
		if n, of := r.uncertain("t"); n != 40 || of != 12+40+1+6 {
			t.Errorf("%d of %d uncertain, want the 40 of the backlog", n, of)
		}
	})
}

// What the journal holds gives the verdicts of life: a restart in the middle of a
// pour goes on as if there had been none.
func TestARestartInTheMiddleOfAPour(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		r.speaks(10*time.Minute, 2*time.Hour, always(21))
		time.Sleep(24 * time.Hour)
		for range 50 {
			r.broker.publish("bed/t", "20")
		}
		time.Sleep(time.Minute)
		synctest.Wait()
		r.stop()
		r.start()
		r.broker.link(true, false)
		time.Sleep(8 * time.Minute)
		r.speaks(10*time.Minute, time.Hour, always(22))
		if n, of := r.uncertain("t"); n != 50 || of != 12+50+6 {
			t.Errorf("%d of %d uncertain, want the 50 that were poured", n, of)
		}
	})
}

// While the journal can't be written, what has come waits in our own hands.
func TestWhatWeHeldOurselvesIsUncertain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		r.speaks(10*time.Minute, 2*time.Hour, always(21))
		r.disk.set(errWorn)
		id := r.broker.publish("bed/t", "21.1")
		time.Sleep(3 * time.Hour)
		r.disk.set(nil)
		time.Sleep(3 * time.Minute)
		synctest.Wait()
		r.broker.link(false, false)
		r.broker.link(true, true)
		r.broker.send(id, "bed/t", "21.1", true)
		r.broker.caught()
		r.speaks(10*time.Minute, 30*time.Minute, always(22))
		var got []bool
		for _, one := range r.kept("t")[12:] {
			got = append(got, one.Uncertain)
		}
		if diff := cmp.Diff([]bool{true, false, false, false}, got); diff != "" {
			t.Errorf("uncertain (-want +got):\n%s", diff)
		}
	})
}

// A jot or a hush that waited at the broker for hours, and says no time of its
// own, was not meant for now. One that does say it is taken at its word.
func TestJotsAndHushesThatWaited(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		r.speaks(10*time.Minute, time.Hour, always(21))
		r.broker.publish("binwatch/jot/bed", `{"what":"turned"}`)
		time.Sleep(time.Minute)
		r.broker.link(false, false)
		time.Sleep(5 * time.Hour)
		an := func(ago time.Duration) string { return time.Now().Add(-ago).UTC().Format(time.RFC3339) }
		r.broker.link(true, true)
		r.broker.publish("binwatch/jot/bed", `{"what":"watered","amount":"2 L"}`)
		r.broker.publish("binwatch/jot/bed", `{"what":"fed","amount":"1 kg","at":"`+an(2*time.Hour)+`"}`)
		r.broker.publish("binwatch/hush/bed", `{"for":"2h","condition":"too-hot"}`)                             // over by now
		r.broker.publish("binwatch/hush/bed", `{"for":"9h","condition":"too-dry"}`)                             // since five hours at most
		r.broker.publish("binwatch/hush/bed", `{"for":"2h","condition":"too-wet","at":"`+an(time.Hour)+`"}`)    // an hour is left
		r.broker.publish("binwatch/hush/bed", `{"for":"2h","condition":"too-cold","at":"`+an(3*time.Hour)+`"}`) // over
		r.broker.caught()
		r.broker.publish("binwatch/jot/bed", `{"what":"bedded","amount":"1 kg"}`)
		r.broker.publish("binwatch/hush/bed", `{"for":"2h","condition":"drying"}`)
		time.Sleep(time.Minute)
		synctest.Wait()
		got := map[farm.JotKind]bool{}
		for _, e := range r.events() {
			if e.Kind == farm.EventJot {
				got[e.Jot.What] = e.Jot.Uncertain
			}
		}
		want := map[farm.JotKind]bool{farm.Turned: false, farm.Watered: true, farm.Fed: false, farm.Bedded: false}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("uncertain jots (-want +got):\n%s", diff)
		}
		v, err := r.loop.Look(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		left := map[farm.Condition]time.Duration{}
		for _, h := range v.Hushes {
			left[h.Condition] = time.Until(h.Until).Round(10 * time.Minute)
		}
		if diff := cmp.Diff(map[farm.Condition]time.Duration{farm.TooDry: 4 * time.Hour, farm.TooWet: time.Hour, farm.Drying: 2 * time.Hour}, left); diff != "" {
			t.Errorf("hushes, and how long they go on (-want +got):\n%s", diff)
		}
		if n := len(r.broker.acks()); n != 6+1+6+2 {
			t.Errorf("%d acknowledged, want all 15", n)
		}
	})
}

// A broker that has forgotten its sessions goes for a day, with it the gateway
// and we. What the gateway then pours out is not real heat's yardstick either.
func TestHeatAfterAPourIntoAFreshSession(t *testing.T) {
	for _, every := range []time.Duration{10 * time.Second, 10 * time.Minute} {
		synctest.Test(t, func(t *testing.T) {
			r := newRig(t, time.Now)
			r.broker.link(true, false)
			r.speaks(every, max(12*every, 3*time.Hour), always(21))
			r.broker.link(false, false)
			time.Sleep(24 * time.Hour)
			r.broker.link(true, false)
			for range 144 {
				r.broker.publish("bed/t", "20")
				time.Sleep(10 * time.Millisecond)
			}
			time.Sleep(every)
			began := time.Now()
			r.speaks(every, 2*time.Hour, always(45))
			at, ok := r.raised(farm.TooHot)
			if late := at.Sub(began); !ok || late > 31*time.Minute+every {
				t.Errorf("every %s: too-hot raised %v after %s of heat, want it after its patience", every, ok, late)
			}
			if n, _ := r.uncertain("t"); n != 143 {
				t.Errorf("every %s: %d uncertain, want the 143 after the first", every, n)
			}
		})
	}
}

// A fresh session hands over no backlog: after any outage the first reading is
// believed.
func TestAFreshSessionHasNoBacklog(t *testing.T) {
	for _, every := range []time.Duration{5 * time.Second, 10 * time.Minute, time.Hour} {
		synctest.Test(t, func(t *testing.T) {
			r := newRig(t, time.Now)
			r.broker.link(true, false)
			r.speaks(every, 20*every, always(21))
			r.broker.link(false, false)
			time.Sleep(30 * time.Hour)
			r.broker.link(true, false)
			r.speaks(every, 20*every, always(22))
			r.stop()
			r.start()
			r.broker.link(true, false)
			r.speaks(every, 20*every, always(22))
			time.Sleep(time.Minute)
			synctest.Wait()
			if n, of := r.uncertain("t"); n != 0 || of != 60 {
				t.Errorf("every %s: %d of %d uncertain, want none", every, n, of)
			}
		})
	}
}

// A reload leaves the link as it stands: what is left of a backlog is as
// uncertain as before, and what is live as certain.
func TestAReloadInABacklog(t *testing.T) {
	for _, inBacklog := range []bool{true, false} {
		synctest.Test(t, func(t *testing.T) {
			r := newRig(t, time.Now)
			r.broker.link(true, false)
			r.speaks(10*time.Minute, 2*time.Hour, always(21))
			r.broker.link(false, false)
			time.Sleep(5 * time.Hour)
			r.broker.link(true, true)
			for range 10 {
				r.broker.publish("bed/t", "20")
			}
			if !inBacklog {
				r.broker.caught()
			}
			synctest.Wait()
			if err := r.loop.Reload(context.Background(), bed(), "two"); err != nil {
				t.Fatal(err)
			}
			for range 3 {
				r.broker.publish("bed/t", "20")
			}
			r.broker.caught()
			r.speaks(10*time.Minute, time.Hour, always(22))
			want := 10
			if inBacklog {
				want = 13
			}
			if n, of := r.uncertain("t"); n != want || of != 12+13+6 {
				t.Errorf("in the backlog %v: %d of %d uncertain, want %d", inBacklog, n, of, want)
			}
		})
	}
}
