package watch_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
	"binwatchd/internal/watch"
)

// busy holds the next write up, and lets it go on, to its outcome.
func (d *disk) busy() (goOn func(outcome error)) {
	gate := make(chan error, 1)
	d.meanwhile(func() { d.err = <-gate })
	var once sync.Once
	return func(outcome error) { once.Do(func() { gate <- outcome }) }
}

// While one batch is being written the next one fills; what comes then is
// acknowledged after it, and not before it is on disk itself.
func TestIntakeGoesOnWhileTheDiskIsBusy(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		goOn := r.disk.busy()
		for range 15 { // with the link itself, a batch
			r.broker.publish("bed/t", "18")
		}
		synctest.Wait()
		for range 20 {
			r.broker.publish("bed/t", "18.5")
		}
		synctest.Wait()
		v, err := r.loop.Look(context.Background())
		if err != nil || v.Intake.Messages["taken"] != 35 {
			t.Errorf("got %v, %v, want all 35 messages taken while the disk is busy", v.Intake.Messages, err)
		}
		if got := r.broker.acks(); len(got) != 0 {
			t.Errorf("got %v acknowledged before anything was on disk", got)
		}
		goOn(nil)
		synctest.Wait()
		if diff := cmp.Diff(ids(1, 35), r.broker.acks()); diff != "" {
			t.Errorf("acknowledged, in order (-want +got):\n%s", diff)
		}
		if got := r.readings("t"); len(got) != 35 {
			t.Errorf("got %d readings on disk, want 35", len(got))
		}
	})
}

// A disk that stays busy holds the intake at last: the broker keeps the rest.
func TestIntakeIsBoundedWhileTheDiskIsBusy(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		goOn := r.disk.busy()
		for range 2000 {
			r.broker.publish("bed/t", "18")
		}
		synctest.Wait()
		if left := len(r.broker.items); left < 900 {
			t.Errorf("only %d of 2000 messages are left to the broker", left)
		}
		goOn(nil)
		time.Sleep(time.Minute)
		synctest.Wait()
		if diff := cmp.Diff(ids(1, 2000), r.broker.acks()); diff != "" {
			t.Errorf("acknowledged, in order (-want +got):\n%s", diff)
		}
	})
}

// When a write does not succeed, what has come meanwhile is thrown away with
// it, for it was judged by a state that is not on disk.
func TestAFailedWriteTakesWhatFollowedWithIt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		goOn := r.disk.busy()
		for range 15 {
			r.broker.publish("bed/t", "18")
		}
		synctest.Wait()
		for range 5 {
			r.broker.publish("bed/t", "18.5")
		}
		synctest.Wait()
		goOn(errWorn)
		synctest.Wait()
		if got, kept := r.broker.acks(), r.readings("t"); len(got) != 0 || len(kept) != 0 {
			t.Fatalf("got %v acknowledged and %v on disk, want nothing", got, kept)
		}
		r.disk.set(nil)
		time.Sleep(time.Minute)
		r.broker.link(false, false)
		r.broker.link(true, true)
		for id := range uint16(20) {
			r.broker.send(id+1, "bed/t", fmt.Sprint(18+0.5*float64(id/15)), true)
		}
		time.Sleep(time.Minute)
		synctest.Wait()
		if got := r.readings("t"); len(got) != 20 {
			t.Errorf("got %d readings, want each of the 20 once", len(got))
		}
		if diff := cmp.Diff(ids(1, 20), r.broker.acks()); diff != "" {
			t.Errorf("acknowledged (-want +got):\n%s", diff)
		}
	})
}

// A connection may be lost with all that a source has room for on the way, to
// be committed in vain. All of it comes again.
func TestALostConnectionFullOfMessagesIsKnownAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		const many = 4500
		send := func(dup bool) {
			for id := range uint16(many) {
				if id%1000 == 0 {
					synctest.Wait()
				}
				r.broker.send(id+1, "bed/t", "18.5", dup)
			}
			time.Sleep(time.Minute)
			synctest.Wait()
		}
		send(false)
		r.broker.link(false, false)
		r.broker.link(true, true)
		send(true)
		if got := r.readings("t"); len(got) != many {
			t.Errorf("got %d readings, want %d: each once", len(got), many)
		}
	})
}

// A disk that answers nothing for minutes hangs nobody who asks, and is told of once.
// Nothing is lost if it comes back.
func TestADiskThatAnswersNothingIsToldOf(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		time.Sleep(time.Minute)
		goOn := r.disk.busy()
		for range 20 {
			r.broker.publish("bed/t", "18")
		}
		synctest.Wait()
		alive := func() error {
			ctx, giveUp := context.WithTimeout(context.Background(), 90*time.Second)
			defer giveUp()
			return r.loop.Alive(ctx)
		}
		if err := alive(); err == nil {
			t.Error("got a sign of life from a loop whose write does not end")
		}
		r.broker.link(false, false)
		time.Sleep(time.Minute)
		ctx, giveUp := context.WithTimeout(context.Background(), 10*time.Second)
		defer giveUp()
		v, err := r.loop.Look(ctx)
		if err != nil || v.Intake.Unwritten == nil || !strings.Contains(v.Intake.Why, "does not answer") {
			t.Errorf("got %+v, %v; want to be told that the disk does not answer", v.Intake, err)
		}
		jot := farm.Event{Kind: farm.EventJot, Jot: farm.Jot{At: time.Now(), Bin: "bed", What: farm.Watered, Litres: 2}}
		if err := r.loop.Act(ctx, jot); !errors.Is(err, watch.ErrUnwritten) {
			t.Errorf("a jot gets %v, want %v", err, watch.ErrUnwritten)
		}
		if err := alive(); err != nil {
			t.Errorf("a disk of which the keeper knows: got %v, want a sign of life", err)
		}
		time.Sleep(70 * time.Minute) // in which nothing is tried, for the disk has its orders
		if err := alive(); err == nil {
			t.Error("got a sign of life from a loop whose write has not ended in an hour")
		}
		goOn(nil)
		synctest.Wait()
		if err := alive(); err != nil {
			t.Errorf("got %v from a loop whose write has ended", err)
		}
		r.broker.link(true, true)
		for id := range uint16(21) { // all comes again, and one more
			r.broker.send(id+1, "bed/t", "18", id < 20)
		}
		time.Sleep(3 * time.Minute)
		synctest.Wait()
		if got := r.readings("t"); len(got) != 21 {
			t.Errorf("got %d readings, want each of the 21 once", len(got))
		}
		if got := r.cried(); len(got) != 2 || got[0].Change != farm.Raised || got[1].Change != farm.Eased || got[0].Episode != got[1].Episode {
			t.Errorf("got cries %+v, want one raise and its easing", got)
		}
	})
}
