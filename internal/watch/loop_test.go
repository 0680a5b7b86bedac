package watch_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

func ids(from, to uint16) []uint16 {
	var out []uint16
	for id := from; id <= to; id++ {
		out = append(out, id)
	}
	return out
}

func TestNothingIsAcknowledgedBeforeItIsOnDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		for i := range 14 { // with the link itself, one fewer than a batch
			r.broker.publish("bed/t", fmt.Sprint(18+i%2))
		}
		synctest.Wait()
		if got, kept := r.broker.acks(), r.readings("t"); len(got) != 0 || len(kept) != 0 {
			t.Fatalf("got %d acknowledged and %d on disk before a batch was full, want none", len(got), len(kept))
		}
		r.broker.publish("bed/t", "18")
		synctest.Wait()
		if got, kept := r.broker.acks(), r.readings("t"); len(got) != 15 || len(kept) != 15 {
			t.Fatalf("got %d acknowledged and %d on disk after a full batch, want 15", len(got), len(kept))
		}
		r.broker.publish("bed/t", "18")
		time.Sleep(4*flush - time.Second) // the bubble's time
		if got := r.broker.acks(); len(got) != 15 {
			t.Errorf("got %d acknowledged before the flush, want 15", len(got))
		}
		time.Sleep(2 * time.Second)
		synctest.Wait()
		if diff := cmp.Diff(ids(1, 16), r.broker.acks()); diff != "" {
			t.Errorf("acknowledged after the flush, in order (-want +got):\n%s", diff)
		}
	})
}

func TestAChangeIsCommittedAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.publish("bed/t", "85")
		synctest.Wait()
		if got := r.broker.acks(); len(got) != 1 {
			t.Errorf("got %d acknowledgements, want the suspect reading committed at once", len(got))
		}
		owed, err := r.journal.Owed(context.Background(), "mail:keeper@example.org", time.Now(), 10)
		if err != nil || len(owed) != 1 || owed[0].Change.Condition != farm.Suspect {
			t.Errorf("got %+v, %v, want one notice of suspect owed", owed, err)
		}
	})
}

func TestARepeatIsNotCountedTwice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		id := r.broker.publish("bed/t", "18.5")
		time.Sleep(time.Minute)
		synctest.Wait()
		r.stop() // dies after the commit; say the acknowledgement got lost

		r.start()
		r.broker.link(true, true)
		r.broker.send(id, "bed/t", "18.5", true)
		r.broker.send(id+1, "bed/t", "18.5", true) // another message, never committed, with the same content
		time.Sleep(time.Minute)
		synctest.Wait()
		if got := r.readings("t"); len(got) != 2 {
			t.Errorf("got readings %v, want the repeat dropped and the other one kept", got)
		}
		if diff := cmp.Diff([]uint16{id, id + 1}, r.broker.acks()); diff != "" {
			t.Errorf("acknowledged (-want +got):\n%s", diff)
		}
	})
}

// The connection is lost and made again sooner than a batch is written.
func TestWhatWaitsWhenTheBrokerIsLostIsNotCountedTwice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		for id := uint16(1); id <= 5; id++ {
			r.broker.send(id, "bed/t", "18.5", false)
		}
		r.broker.link(false, false)
		r.broker.link(true, true)
		for id := uint16(1); id <= 5; id++ {
			r.broker.send(id, "bed/t", "18.5", true)
		}
		time.Sleep(time.Minute)
		synctest.Wait()
		if got := r.readings("t"); len(got) != 5 {
			t.Errorf("got %d readings, want 5", len(got))
		}
	})
}

// A broker that was killed takes up its session with packet ids it has used
// since its last save: what came last under an id is what counts, also after a
// restart, and what came last is forgotten last.
func TestThePacketIDsOfAKilledBroker(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		for id := uint16(1); id <= 20; id++ {
			r.broker.send(id, "bed/t", "18.5", false)
		}
		time.Sleep(time.Minute)
		r.broker.link(false, false)
		r.broker.link(true, true)
		for id := uint16(1); id <= 20; id++ { // the same ids, other messages
			r.broker.send(id, "bed/t", "19.5", false)
		}
		for id := uint16(1001); id <= 3028; id++ { // 2028: with those before as many as are remembered
			r.broker.send(id, "bed/t", "20.5", false)
		}
		time.Sleep(time.Minute)
		synctest.Wait()
		before := len(r.readings("t"))
		r.stop()

		r.start()
		r.broker.link(true, true)
		for id := uint16(3029); id <= 3048; id++ { // new ones push out the oldest
			r.broker.send(id, "bed/t", "21.5", false)
		}
		for id := uint16(3009); id <= 3028; id++ {
			r.broker.send(id, "bed/t", "20.5", true)
		}
		time.Sleep(time.Minute)
		synctest.Wait()
		if got, want := len(r.readings("t")), before+20; before != 2068 || got != want {
			t.Errorf("got %d readings, then %d; want 2068, then %d: the newest are forgotten last", before, got, want)
		}
		r.stop()
	})
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		r.broker.send(7, "bed/t", "18.5", false)
		time.Sleep(time.Minute)
		r.broker.send(7, "bed/t", "19.5", false)
		time.Sleep(time.Minute)
		synctest.Wait()
		r.stop()

		r.start()
		r.broker.link(true, true)
		r.broker.send(7, "bed/t", "19.5", true)
		time.Sleep(time.Minute)
		synctest.Wait()
		if got := r.readings("t"); len(got) != 2 {
			t.Errorf("got readings %v, want the repeat of what came last under its id dropped", got)
		}
	})
}

// Where probes number their packets themselves, another one's same number makes
// no repeat a second reading, and a device that has begun a new session is not
// taken for its own former self; both also after a restart.
func TestRepeatsAreOfOneSender(t *testing.T) {
	const bench, shed, shedAnew = 11, 12, 13
	for _, restart := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			r := newRig(t, time.Now)
			r.broker.link(true, false)
			r.broker.from(bench, 1, "bed/t", "18.5", false)
			r.broker.from(shed, 1, "bed/m", "70", false) // the same number
			r.broker.from(shed, 2, "bed/m", "71", false)
			time.Sleep(time.Minute)
			synctest.Wait()
			if restart {
				r.stop()
				r.start()
				r.broker.items <- ingest.Item{Link: &ingest.Link{Up: true, Resumed: true}}
			}
			r.broker.from(shed, 1, "bed/m", "70", true)     // its answer was lost: a repeat
			r.broker.from(bench, 1, "bed/t", "18.5", true)  // likewise
			r.broker.from(shedAnew, 1, "bed/m", "70", true) // the shed's device has begun anew
			time.Sleep(time.Minute)
			synctest.Wait()
			if got := r.readings("t"); len(got) != 1 {
				t.Errorf("restart %v: got readings %v of the bench, want its repeat dropped", restart, got)
			}
			if got := r.readings("m"); len(got) != 3 {
				t.Errorf("restart %v: got readings %v of the shed, want its repeat dropped and the new session's kept", restart, got)
			}
			if got := len(r.broker.acks()); got != 6 && !restart || got != 3 && restart {
				t.Errorf("restart %v: got %d acknowledged, want all", restart, got)
			}
		})
	}
}

// A fresh session at one of several brokers says nothing of the others.
func TestAFreshSessionIsOfOneBroker(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.items <- ingest.Item{Link: &ingest.Link{Up: true, Sender: 1}}
		r.broker.from(1, 5, "bed/t", "18.5", false)
		time.Sleep(time.Minute)
		r.broker.link(false, false)
		r.broker.items <- ingest.Item{Link: &ingest.Link{Up: true, Sender: 2}}
		r.broker.from(2, 5, "bed/t", "18.5", true) // another broker's own
		time.Sleep(time.Minute)
		r.broker.link(false, false)
		r.broker.items <- ingest.Item{Link: &ingest.Link{Up: true, Resumed: true, Sender: 1}}
		r.broker.from(1, 5, "bed/t", "18.5", true) // the first one's again
		time.Sleep(time.Minute)
		synctest.Wait()
		if got := r.readings("t"); len(got) != 2 {
			t.Errorf("got readings %v, want one of each broker", got)
		}
	})
}

func TestANewSessionNumbersItsPacketsAnew(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		id := r.broker.publish("bed/t", "18.5")
		time.Sleep(time.Minute)
		const told = "the broker does not know us any more"
		synctest.Wait()
		if strings.Contains(r.log.String(), told) {
			t.Error("the first session of all is told of as lost")
		}
		r.broker.link(false, false)
		r.broker.link(true, false) // the broker lost its sessions
		r.broker.send(id, "bed/t", "18.5", true)
		time.Sleep(time.Minute)
		synctest.Wait()
		if strings.Count(r.log.String(), told) != 1 {
			t.Errorf("a lost session is told of in %s", r.log.String())
		}
		if got := r.readings("t"); len(got) != 2 {
			t.Errorf("got readings %v, want both kept", got)
		}
	})
}

func TestAFailedCommitIsRebuiltFromDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		for range 6 { // a breach whose patience will end while the disk is gone
			r.broker.publish("bed/t", "28")
			time.Sleep(5 * time.Minute)
		}
		synctest.Wait()
		before := len(r.readings("t"))
		r.disk.set(errWorn)
		lost := r.broker.publish("bed/t", "28")
		time.Sleep(90 * time.Minute)
		synctest.Wait()
		if got := r.broker.acks(); len(got) != before {
			t.Fatalf("got %d acknowledgements, want the %d on disk", len(got), before)
		}
		v, err := r.loop.Look(context.Background())
		if err != nil || v.Intake.Unwritten == nil {
			t.Errorf("got %+v, %v, want the view to say since when nothing is written", v.Intake, err)
		}
		if len(r.cried()) != 1 || r.cried()[0].Condition != farm.Unwritten || r.cried()[0].Urgency != farm.Now {
			t.Errorf("got cries %+v, want exactly one", r.cried())
		}
		r.checkRetries(90 * time.Minute)

		r.disk.set(nil)
		time.Sleep(3 * time.Minute) // half a minute till the next try, one of trust, one till the tick
		synctest.Wait()
		r.checkRelief()
		if r.broker.reconnects.Load() == 0 {
			t.Error("the broker was not made to send again")
		}
		r.broker.link(true, true)
		r.broker.send(lost, "bed/t", "28", true)
		time.Sleep(time.Minute)
		synctest.Wait()
		if got := len(r.readings("t")); got != before+1 {
			t.Errorf("got %d readings, want %d: each once", got, before+1)
		}
		hot := 0
		changes, err := r.journal.Changes(context.Background(), "bed", time.Time{}, time.Now().Add(time.Hour))
		for _, ch := range changes {
			if ch.Condition == farm.TooHot && ch.Change == farm.Raised {
				hot++
			}
		}
		if err != nil || hot != 1 {
			t.Errorf("got too-hot raised %d times (%v), want once", hot, err)
		}
	})
}

func TestGarbageIsAcknowledgedAndCounted(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.publish("bed/t", "not a number")
		r.broker.publish("bed/t", "\xff\xfe")
		r.broker.publish("bed/m", "")
		r.broker.publish("nobody/asked", "1")
		r.broker.publish("bed/s", "no JSON, for two probes")
		synctest.Wait()
		if diff := cmp.Diff(ids(1, 5), r.broker.acks()); diff != "" {
			t.Errorf("acknowledged (-want +got):\n%s", diff)
		}
		v, err := r.loop.Look(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		total := int64(0)
		for _, n := range v.Probes[0].Rejected {
			total += n
		}
		if total != 2 || len(v.Probes[1].Rejected) != 1 {
			t.Errorf("got rejected %v and %v, want two for t and one for m", v.Probes[0].Rejected, v.Probes[1].Rejected)
		}
		if n := v.Intake.Messages[ingest.NotJSON]; n != 1 || len(v.Probes[3].Rejected) != 1 {
			t.Errorf("a message for two probes counts as %d messages; the second probe's are %v", n, v.Probes[3].Rejected)
		}
	})
}

func TestActReturnsOnceItIsOnDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		ctx := context.Background()
		j := farm.Jot{At: time.Now(), Bin: "bed", What: farm.Watered, Litres: 2}
		if err := r.loop.Act(ctx, farm.Event{Kind: farm.EventJot, Jot: j}); err != nil {
			t.Fatal(err)
		}
		got, err := r.journal.Jots(ctx, "bed", time.Now().Add(-time.Hour), time.Now().Add(time.Hour))
		if err != nil || len(got) != 1 || got[0].Litres != 2 {
			t.Errorf("got %+v, %v, want the jot", got, err)
		}
		r.disk.set(errWorn)
		if err := r.loop.Act(ctx, farm.Event{Kind: farm.EventJot, Jot: j}); err == nil {
			t.Error("got no error for a jot that is not on disk")
		}
		r.disk.set(nil)
	})
}

// A form that comes again, also after a restart, is not taken again; nor is a tick of a line
// that somebody has ticked since the list was made. What waits to be written counts.
func TestAFormIsTakenOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		ctx := context.Background()
		act := func(once string, since int64, more ...farm.Event) (own, already bool) {
			t.Helper()
			jot := farm.Event{Kind: farm.EventJot, Once: once, Since: since, Jot: farm.Jot{Bin: "bed", Zone: "near", What: farm.Watered, Litres: 2}}
			err := r.loop.Act(ctx, append([]farm.Event{jot}, more...)...)
			var stands *farm.Already
			if already = errors.As(err, &stands); already {
				return stands.Own, true
			}
			if err != nil {
				t.Fatal(err)
			}
			return false, false
		}
		listed, err := r.journal.Last(ctx)
		if err != nil || listed == 0 {
			t.Fatalf("got %d, %v", listed, err)
		}
		if _, already := act("a", listed); already {
			t.Error("the first is refused")
		}
		if own, already := act("a", listed); !own || !already {
			t.Error("a form sent twice is taken twice")
		}
		if own, already := act("b", listed); own || !already {
			t.Error("another's tick of the same line is taken too")
		}
		if _, already := act("b", 0); already {
			t.Error("who did it too is refused")
		}
		r.stop()
		r.start()
		note := farm.Event{Kind: farm.EventJot, Jot: farm.Jot{Bin: "bed", What: farm.Noted, Words: "lid open"}}
		if own, already := act("a", 0, note); !own || !already {
			t.Error("after a restart it is taken again")
		}
		got, err := r.journal.LastLines(ctx, 10)
		if err != nil || len(got) != 2 {
			t.Errorf("got %+v, %v, want two lines", got, err)
		}
	})
}

func TestAskingAStoppedLoop(t *testing.T) {
	r := newRig(t, time.Now)
	r.stop()
	if _, err := r.loop.Look(context.Background()); err == nil {
		t.Error("got a view from a loop that has ended")
	}
	r.stop() // twice is harmless
}

// checkRetries: tries come after 1, 2, 4, 8, 16 s and then each 30 s, and each
// is made and told of once.
func (r *rig) checkRetries(lasted time.Duration) {
	r.t.Helper()
	want := 1 + 5 + int((lasted-31*time.Second)/(30*time.Second)) // the first failure, the quick tries, the steady ones
	if got := int(r.disk.failed.Load()); got < want-2 || got > want+2 {
		r.t.Errorf("got %d failed commits in %s, want about %d", got, lasted, want)
	}
}

// checkRelief: who heard of the outage hears of its end, as the same episode.
func (r *rig) checkRelief() {
	r.t.Helper()
	if len(r.cried()) != 2 {
		r.t.Fatalf("got cries %+v, want a raise and an easing", r.cried())
	}
	raise, ease := r.cried()[0], r.cried()[1]
	if ease.Condition != farm.Unwritten || ease.Change != farm.Eased || ease.Episode != raise.Episode || !ease.Since.Equal(raise.Since) {
		r.t.Errorf("got %+v after %+v, want the easing of the same episode", ease, raise)
	}
	if !strings.Contains(ease.Text, "90 minutes") {
		r.t.Errorf("got the text %q, want it to say how long it lasted", ease.Text)
	}
}

// A disk that works now and then is one trouble, told of once, until it works
// for good.
func TestADiskThatWorksNowAndThenIsToldOfOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		for range 5 {
			r.disk.set(errWorn)
			r.broker.publish("bed/t", "18")
			time.Sleep(2 * time.Minute)
			r.disk.set(nil)
			time.Sleep(40 * time.Second) // the next try finds it working
		}
		synctest.Wait()
		if len(r.cried()) != 1 {
			t.Errorf("got cries %+v, want the raise alone", r.cried())
		}
		time.Sleep(5 * time.Minute)
		synctest.Wait()
		if len(r.cried()) != 2 || r.cried()[1].Change != farm.Eased || r.cried()[1].Episode != r.cried()[0].Episode {
			t.Errorf("got cries %+v, want one raise and its easing", r.cried())
		}
	})
}

// A caller that has gone away while it is served is no trouble of the disk.
func TestACallerThatGivesUpMakesNoOutage(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		ctx, giveUp := context.WithCancel(context.Background())
		r.disk.meanwhile(giveUp)
		j := farm.Jot{At: time.Now(), Bin: "bed", What: farm.Watered, Litres: 2}
		_ = r.loop.Act(ctx, farm.Event{Kind: farm.EventJot, Jot: j}) // it has no use for the answer
		r.disk.meanwhile(giveUp)
		_ = r.loop.Reload(ctx, bed(), "two")
		synctest.Wait()
		v, err := r.loop.Look(context.Background())
		if err != nil || v.Intake.Unwritten != nil || len(r.cried()) != 0 {
			t.Errorf("got unwritten since %v, cries %+v, %v; want none", v.Intake.Unwritten, r.cried(), err)
		}
		got, err := r.journal.Jots(context.Background(), "bed", time.Now().Add(-time.Hour), time.Now().Add(time.Hour))
		if err != nil || len(got) != 1 {
			t.Errorf("got jots %+v, %v, want the one", got, err)
		}
	})
}

// A reload that can't be written leaves the farm before it in force.
func TestAReloadOnABrokenDiskChangesNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		id := r.broker.publish("bed/m", "70")
		time.Sleep(time.Minute)
		synctest.Wait()
		r.disk.set(errWorn)
		other := bed()
		other.Probes, other.Bins[0].Zones[0].Probes = other.Probes[:1], []string{"t"}
		if err := r.loop.Reload(context.Background(), other, "two"); err == nil {
			t.Error("got no error from a reload that is not on disk")
		}
		r.disk.set(nil)
		time.Sleep(time.Minute)
		r.broker.link(true, true)
		r.broker.send(id+1, "bed/m", "71", true)
		time.Sleep(time.Minute)
		synctest.Wait()
		if got := r.readings("m"); len(got) != 2 {
			t.Errorf("got readings %v of a probe that only the farm before knows, want both", got)
		}
	})
}

// What a device sends again under the same time stamp is one reading; what it
// sends late is kept and counted apart.
func TestStampedRepeatsAndLateOnes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		for range 3 {
			r.broker.publish("bed/s", `{"v": 20, "at": "1999-12-31T23:50:00Z"}`)
		}
		r.broker.publish("bed/s", `{"v": 19, "at": "1999-12-31T22:50:00Z"}`)
		time.Sleep(time.Minute)
		synctest.Wait()
		if diff := cmp.Diff([]float64{20, 19}, r.readings("s")); diff != "" {
			t.Errorf("kept (-want +got):\n%s", diff)
		}
		v, err := r.loop.Look(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		want := map[string]int64{farm.OutcomeBelieved: 1, farm.OutcomeRepeated: 2, farm.OutcomeLate: 1}
		if diff := cmp.Diff(want, v.Probes[2].Counts); diff != "" {
			t.Errorf("counted (-want +got):\n%s", diff)
		}
		// The bubble begins at midnight: one came after ten minutes, one after 70.
		if d := v.Intake.Delays; d.Count != 2 || d.SumMs != 80*60*1000 || d.Within != [...]int64{0, 0, 0, 1, 1, 2, 2, 2} {
			t.Errorf("delays: got %+v, want one of ten minutes and one of 70", d)
		}
		if len(r.broker.acks()) != 4 {
			t.Errorf("got %d acknowledged, want all four", len(r.broker.acks()))
		}
	})
}
