package notify_test

import (
	"context"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
)

// A pace runs a sender of one mail teller in a bubble of its own time, and
// notes when its server was tried and with what.
type pace struct {
	cfg   notify.Config
	box   *box
	start time.Time
	s     *notify.Sender

	mu    sync.Mutex
	view  farm.View
	tries []notify.Carried
	says  int           // what the server answers
	ahead time.Duration // by which the sender's clock is wrong
}

func inBubble(t *testing.T, alter func(*notify.Teller), body func(*pace)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		teller := notify.Teller{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{Mail: "keeper@example.org", About: []string{"now", "today", "soon"}}}
		if alter != nil {
			alter(&teller)
		}
		p := &pace{box: newBox(), start: time.Now()}
		p.cfg = notify.Config{
			Farm: hillfoot(t), Mail: notify.Mail{MailSettings: notify.MailSettings{Server: "127.0.0.1:25", From: "bins@example.org"}},
			Tellers: notify.Named([]notify.Teller{teller}), Now: p.now,
		}
		s, err := notify.NewSender(p.cfg, notify.Sources{Outbox: p.box, Look: p.look})
		if err != nil {
			t.Fatal(err)
		}
		p.s = s
		notify.Carry(s, p.take)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { s.Run(ctx); close(done) }()
		body(p)
		cancel()
		<-done
	})
}

func (p *pace) now() time.Time {
	p.mu.Lock()
	defer p.mu.Unlock()
	return time.Now().Add(p.ahead)
}

// wrong puts the sender's clock ahead.
func (p *pace) wrong(ahead time.Duration) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.ahead = ahead
}

func (p *pace) look() (farm.View, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.view, true
}

func (p *pace) take(c notify.Carried) int {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.tries = append(p.tries, c)
	return p.says
}

// answer sets what the server answers from now on.
func (p *pace) answer(verdict int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.says = verdict
}

// stand sets what is raised.
func (p *pace) stand(standing ...farm.Standing) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.view.Standing = standing
}

// hush sets what is hushed.
func (p *pace) hush(h ...farm.Hush) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.view.Hushes = h
}

// bundles are those that the server has seen.
func (p *pace) bundles() []notify.Carried {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.Clone(p.tries)
}

// change owes a change that happens now.
func (p *pace) change(c farm.Condition, kind farm.ChangeKind, u farm.Urgency) farm.Change {
	ch := change(c, kind, u, time.Now())
	p.box.add(notify.OwedFor(p.cfg.Tellers, ch, ch.At)...)
	synctest.Wait()
	return ch
}

func (p *pace) pass(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

// times are when the server was tried, since the start.
func (p *pace) times() []time.Duration {
	var out []time.Duration
	for _, c := range p.bundles() {
		out = append(out, c.At.Sub(p.start))
	}
	return out
}

func TestBackOffDoublesToAnHour(t *testing.T) {
	inBubble(t, nil, func(p *pace) {
		p.answer(2)
		p.change(farm.TooHot, farm.Raised, farm.Now)
		p.pass(5 * time.Hour)
		var waits []time.Duration
		for i, at := range p.times()[1:] {
			waits = append(waits, at-p.times()[i])
		}
		s, m := time.Second, time.Minute
		want := []time.Duration{30 * s, m, 2 * m, 4 * m, 8 * m, 16 * m, 32 * m, 60 * m, 60 * m, 60 * m}
		if diff := cmp.Diff(want, waits[:len(want)]); diff != "" {
			t.Errorf("waits (-want +got):\n%s", diff)
		}
		p.answer(0)
		p.pass(time.Hour)
		if !p.box.settled() {
			t.Error("not told once the server was back")
		}
	})
}

func TestWhatArisesTogetherIsOneLetter(t *testing.T) {
	inBubble(t, nil, func(p *pace) {
		p.change(farm.TooHot, farm.Raised, farm.Today)
		p.pass(7 * time.Second)
		p.change(farm.TooDry, farm.Raised, farm.Today)
		p.pass(time.Minute)
		if len(p.bundles()) != 1 || len(p.bundles()[0].Items) != 2 || p.times()[0] != 10*time.Second {
			t.Errorf("bundles at %v, %v", p.times(), p.bundles())
		}
	})
}

// A cold night reaches one bin after the other: the first is told, then what has come within two
// minutes, then what has come within a quarter of an hour.
func TestLikeFollowsLikeInOneLetter(t *testing.T) {
	inBubble(t, nil, func(p *pace) {
		for i := range 9 {
			c := change(farm.TooCold, farm.Raised, farm.Soon, time.Now())
			c.Episode = string(rune('a' + i))
			p.box.add(notify.OwedFor(p.cfg.Tellers, c, c.At)...)
			p.pass(time.Minute)
		}
		p.pass(time.Hour)
		var items []int
		for _, b := range p.bundles() {
			items = append(items, len(b.Items))
		}
		m, s := time.Minute, time.Second
		if want := []time.Duration{10 * s, 2*m + 10*s, 17*m + 10*s}; !slices.Equal(p.times(), want) || !slices.Equal(items, []int{1, 2, 6}) {
			t.Errorf("letters at %v about %v things, want %v", p.times(), items, want)
		}
	})
}

func TestCapNeverHoldsBackWhatIsAtNow(t *testing.T) {
	inBubble(t, nil, func(p *pace) {
		kinds := []farm.Condition{farm.TooHot, farm.TooDry, farm.Drying, farm.Silent, farm.Suspect, farm.BatteryLow, farm.FeedDue, farm.SiftReady}
		for _, k := range kinds {
			p.change(k, farm.Raised, farm.Today)
			p.pass(time.Minute)
		}
		if len(p.bundles()) != 6 {
			t.Errorf("%d bundles in eight minutes, the cap is 6", len(p.bundles()))
		}
		p.change(farm.TooHot, farm.Worsened, farm.Now)
		p.pass(5 * time.Second)
		if n := len(p.bundles()); n != 7 || !p.bundles()[6].Pressing || len(p.bundles()[6].Items) != 1 {
			t.Errorf("what is at now was not told at once: %d bundles", n)
		}
		p.pass(time.Hour)
		if n := len(p.bundles()); n != 8 || len(p.bundles()[7].Items) != 2 {
			t.Errorf("what was held did not come as one: %d bundles", n)
		}
	})
}

// A clock that is wrong by anything holds up neither what is owed nor its end,
// and neither what is reminded of once it is right.
func TestAWrongClockHoldsNothingUp(t *testing.T) {
	const day = 24 * time.Hour
	remind := func(teller *notify.Teller) { teller.Remind = 12 * time.Hour }
	for _, off := range []time.Duration{-time.Hour, -400 * day, -56 * 365 * day, time.Hour, day, 365 * day, 56 * 365 * day} {
		t.Run(off.String(), func(t *testing.T) {
			inBubble(t, remind, func(p *pace) {
				p.wrong(off)
				p.change(farm.TooHot, farm.Raised, farm.Now) // its time is right, as that of what is on disk
				p.stand(farm.Standing{Episode: "e-too-hot", Bin: "bed", Zone: "near", Condition: farm.TooHot, Urgency: farm.Now})
				p.pass(time.Minute)
				if len(p.bundles()) != 1 {
					t.Fatalf("%d bundles by the wrong clock, want 1", len(p.bundles()))
				}
				p.wrong(0)
				p.pass(13 * time.Hour)
				if n := len(p.bundles()); n < 2 || p.bundles()[1].Items[0].Say != "still" {
					t.Errorf("%d bundles after half a day at now, want a reminder", n)
				}
				n := len(p.bundles())
				p.stand()
				p.change(farm.TooHot, farm.Eased, farm.Now)
				p.pass(time.Minute)
				if len(p.bundles()) != n+1 || !p.box.settled() {
					t.Errorf("%d bundles after the easing, want %d; fates %v", len(p.bundles()), n+1, p.box.fates())
				}
			})
		})
	}
}

// While a disk is full it cannot be noted what was told, and a restart would tell
// all of it again: one notice at most, and what is at now.
func TestAFullDiskHoldsBackWhatCanWait(t *testing.T) {
	webhook := func(teller *notify.Teller) {
		teller.Kind, teller.Mail, teller.URL = notify.ByWebhook, "", "http://127.0.0.1:1/"
	}
	inBubble(t, webhook, func(p *pace) {
		p.box.setBroken(full)
		for i, tt := range []struct {
			condition farm.Condition
			urgency   farm.Urgency
			want      int // bundles that have come
		}{{farm.TooDry, farm.Today, 1}, {farm.TooWet, farm.Today, 1}, {farm.TooHot, farm.Now, 2}, {farm.TooCold, farm.Soon, 2}} {
			p.change(tt.condition, farm.Raised, tt.urgency)
			p.pass(10 * time.Minute)
			if n := len(p.bundles()); n != tt.want {
				t.Errorf("%d bundles after %d notices on a full disk, want %d", n, i+1, tt.want)
			}
		}
		p.box.setBroken(well)
		p.pass(time.Hour)
		told := map[farm.Condition]int{}
		for _, b := range p.bundles() {
			for _, it := range b.Items {
				told[it.Change.Condition]++
			}
		}
		if want := map[farm.Condition]int{farm.TooDry: 1, farm.TooWet: 1, farm.TooHot: 1, farm.TooCold: 1}; !cmp.Equal(told, want) || !p.box.settled() {
			t.Errorf("told %v, want %v; fates %v", told, want, p.box.fates())
		}
	})
}

func TestReminders(t *testing.T) {
	every := func(teller *notify.Teller) { teller.Remind = 12 * time.Hour }
	st := farm.Standing{Episode: "e-too-hot", Bin: "bed", Zone: "near", Condition: farm.TooHot, Urgency: farm.Now}
	tests := []struct {
		name string
		end  func(p *pace, ch farm.Change) // after two reminders
		more int
	}{
		{"go on", func(*pace, farm.Change) {}, 2},
		{"until eased", func(p *pace, ch farm.Change) { p.stand(); p.change(ch.Condition, farm.Eased, farm.Now) }, 1},
		{"until seen", func(p *pace, _ farm.Change) { s := st; s.Seen = true; p.stand(s) }, 0},
		{"until hushed", func(p *pace, _ farm.Change) {
			s, later := st, time.Now().Add(72*time.Hour)
			s.Hushed = &later
			p.stand(s)
		}, 0},
		{"not of heat alone because it was turned", func(p *pace, _ farm.Change) {
			s, later := st, time.Now().Add(24*time.Hour)
			s.Advice = &farm.Advice{Wait: &later}
			p.stand(s)
		}, 2},
		{"until it is no longer at now", func(p *pace, _ farm.Change) { s := st; s.Urgency = farm.Today; p.stand(s) }, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			inBubble(t, every, func(p *pace) {
				ch := p.change(farm.TooHot, farm.Raised, farm.Now)
				p.stand(st)
				p.pass(25 * time.Hour)
				if len(p.bundles()) != 3 || p.bundles()[1].Items[0].Say != "still" {
					t.Fatalf("bundles at %v", p.times())
				}
				tt.end(p, ch)
				p.pass(24 * time.Hour)
				if got := len(p.bundles()) - 3; got != tt.more {
					t.Errorf("%d bundles after that, want %d", got, tt.more)
				}
			})
		})
	}
}

// What has become less urgent is no news to a person, and nothing to be reminded of; that it is at
// now again is told at once, and its end. A program hears of each step.
func TestLessUrgentIsNoLetter(t *testing.T) {
	for _, tt := range []struct {
		kind notify.Kind
		want []string
	}{
		{notify.ByMail, []string{"stands", "stands", "over"}},
		{notify.ByPush, []string{"stands", "stands", "over"}},
		{notify.ByWebhook, []string{"stands", "lighter", "stands", "over"}},
	} {
		t.Run(string(tt.kind), func(t *testing.T) {
			alter := func(teller *notify.Teller) {
				*teller = tellerOf(tt.kind)
				teller.Remind = 12 * time.Hour
			}
			inBubble(t, alter, func(p *pace) {
				for _, step := range []struct {
					kind  farm.ChangeKind
					to    farm.Urgency
					lasts time.Duration
				}{{farm.Raised, farm.Now, time.Hour}, {farm.Lightened, farm.Soon, 30 * time.Hour}, {farm.Worsened, farm.Now, time.Minute}} {
					p.stand(farm.Standing{Episode: "e-too-dry", Bin: "bed", Zone: "near", Condition: farm.TooDry, Urgency: step.to})
					p.change(farm.TooDry, step.kind, step.to)
					p.pass(step.lasts)
				}
				p.stand()
				p.change(farm.TooDry, farm.Eased, farm.Now)
				p.pass(2 * time.Hour)
				var said []string
				for _, c := range p.bundles() {
					said = append(said, c.Items[0].Say)
				}
				if !slices.Equal(said, tt.want) || !p.box.settled() {
					t.Errorf("told %v at %v, want %v; fates %v", said, p.times(), tt.want, p.box.fates())
				}
			})
		})
	}
}

// Bins that went cold one after the other in one air are reminded of in one letter.
func TestOneLetterRemindsOfACause(t *testing.T) {
	inBubble(t, func(teller *notify.Teller) { teller.Remind = 12 * time.Hour }, func(p *pace) {
		var all []farm.Standing
		for _, at := range []struct{ bin, zone string }{{"bed", "near"}, {"trough", "all"}} {
			ch := change(farm.TooCold, farm.Raised, farm.Now, time.Now())
			ch.Bin, ch.Zone, ch.Episode = at.bin, at.zone, "cold-"+at.bin
			all = append(all, farm.Standing{Episode: ch.Episode, Bin: at.bin, Zone: at.zone, Condition: farm.TooCold, Urgency: farm.Now, Since: ch.At})
			p.stand(all...)
			p.box.add(notify.OwedFor(p.cfg.Tellers, ch, ch.At)...)
			p.pass(50 * time.Minute)
		}
		p.pass(36 * time.Hour)
		var said []int
		for _, c := range p.bundles() {
			said = append(said, len(c.Items))
		}
		if !slices.Equal(said, []int{1, 1, 2, 2, 2}) {
			t.Errorf("letters of %v things, at %v", said, p.times())
		}
	})
}

// Water that was given needs time to show: nobody is reminded to give more.
func TestNoReminderWhileWaterSpreads(t *testing.T) {
	every := func(teller *notify.Teller) { teller.Remind = 12 * time.Hour }
	inBubble(t, every, func(p *pace) {
		st := farm.Standing{Episode: "e-too-dry", Bin: "bed", Zone: "near", Condition: farm.TooDry, Urgency: farm.Now}
		p.change(farm.TooDry, farm.Raised, farm.Now)
		later := time.Now().Add(48 * time.Hour)
		st.Advice = &farm.Advice{Wait: &later, Do: "3 quarts given at 12:21; look again tomorrow."}
		p.stand(st)
		p.pass(47 * time.Hour)
		if n := len(p.bundles()); n != 1 {
			t.Fatalf("%d bundles while the water spreads, want the first alone", n)
		}
		p.pass(24 * time.Hour)
		if n := len(p.bundles()); n < 2 {
			t.Errorf("%d bundles after it should have shown, want a reminder", n)
		}
	})
}

func TestRaisedAnewIsToldOnlyWhenItIsNews(t *testing.T) {
	tests := []struct {
		name        string
		first, then farm.Urgency
		bundles     int
	}{
		{"no worse than before", farm.Today, farm.Today, 2},
		{"less than before", farm.Today, farm.Soon, 2},
		{"worse than before", farm.Soon, farm.Today, 4},
		{"at now again", farm.Now, farm.Now, 4},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			inBubble(t, nil, func(p *pace) {
				for i, u := range []farm.Urgency{tt.first, tt.then} {
					ch := change(farm.TooDry, farm.Raised, u, time.Now())
					ch.Again = i > 0
					p.box.add(notify.OwedFor(p.cfg.Tellers, ch, ch.At)...)
					p.pass(2 * time.Hour)
					p.change(farm.TooDry, farm.Eased, u)
					p.pass(2 * time.Hour)
				}
				if len(p.bundles()) != tt.bundles || !p.box.settled() {
					t.Errorf("%d bundles, want %d; fates %v", len(p.bundles()), tt.bundles, p.box.fates())
				}
			})
		})
	}
}

// The one thing told from memory: that the journal cannot be written. It is
// told while nothing can be read or written, once, and so is its end.
func TestFromMemory(t *testing.T) {
	inBubble(t, nil, func(p *pace) {
		p.box.setBroken(gone)
		p.answer(2)
		c := farm.Change{At: time.Now(), Condition: farm.Unwritten, Change: farm.Raised, Urgency: farm.Now, Episode: "unwritten-1"}
		p.s.FromMemory(c)
		p.s.FromMemory(c)
		p.pass(time.Minute)
		p.answer(0)
		p.pass(10 * time.Minute)
		end := c
		end.At, end.Change = time.Now(), farm.Eased
		p.s.FromMemory(end)
		p.pass(10 * time.Minute)
		says := []string{}
		for _, l := range p.bundles() {
			says = append(says, l.Items[0].Say)
		}
		if diff := cmp.Diff([]string{"stands", "stands", "stands", "over"}, says); diff != "" {
			t.Errorf("bundles, of which two failed (-want +got):\n%s", diff)
		}
	})
}

// Nobody is told of what began and ended while the hush lasted; what still
// stands at its end is told then.
func TestHush(t *testing.T) {
	inBubble(t, nil, func(p *pace) {
		until := time.Now().Add(4 * time.Hour)
		p.hush(farm.Hush{Bin: "bed", Until: until})
		ch := p.change(farm.TooDry, farm.Raised, farm.Today)
		dry := farm.Standing{Episode: ch.Episode, Bin: "bed", Urgency: farm.Today, Hushed: &until}
		p.stand(dry)
		p.pass(time.Hour)
		p.change(farm.TooWet, farm.Raised, farm.Today)
		wet := dry
		wet.Episode = "e-too-wet"
		p.stand(dry, wet)
		p.pass(time.Hour)
		p.change(farm.TooWet, farm.Eased, farm.Today)
		p.stand(dry)
		p.pass(time.Hour)
		if len(p.bundles()) != 0 {
			t.Fatalf("told while hushed, at %v", p.times())
		}
		p.pass(65 * time.Minute)
		if len(p.bundles()) != 1 || len(p.bundles()[0].Items) != 1 || p.bundles()[0].Items[0].Change.Condition != farm.TooDry {
			t.Errorf("bundles %v", p.bundles())
		}
		if want := []farm.Fate{farm.Told, farm.Dropped, farm.Dropped}; !slices.Equal(p.box.fates(), want) {
			t.Errorf("fates are %v, want %v", p.box.fates(), want)
		}
	})
}

// A clock that was years ahead and is put right leaves no wait behind, of the
// server's, of a refusal or of the cap.
func TestClockPutBackHoldsNothingUp(t *testing.T) {
	tests := []struct {
		name string
		says int
	}{{"server away", 2}, {"bundle refused", 1}, {"bundle taken", 0}}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			inBubble(t, nil, func(p *pace) {
				p.wrong(10 * 365 * 24 * time.Hour)
				p.answer(tt.says)
				p.change(farm.TooHot, farm.Raised, farm.Today)
				p.pass(10 * time.Minute)
				p.wrong(0)
				p.answer(0)
				p.change(farm.TooDry, farm.Raised, farm.Today)
				p.pass(70 * time.Minute)
				if !p.box.settled() {
					t.Errorf("fates are %v, bundles at %v", p.box.fates(), p.times())
				}
			})
		})
	}
}

// What comes on its usual day is told by the rounds: a notice goes out only where that
// day has passed and nobody saw to it, or where it has come to harm. A program hears of
// it at once.
func TestWhatComesOnItsUsualDayIsNotTold(t *testing.T) {
	const due = 30 * time.Hour
	for _, tt := range []struct {
		name   string
		kind   notify.Kind
		then   func(*pace)
		within int // bundles before the day has passed
		after  int // and in all
	}{
		{"seen to", notify.ByMail, func(p *pace) { p.change(farm.TooDry, farm.Eased, farm.Today) }, 0, 0},
		{"forgotten", notify.ByMail, func(p *pace) {}, 0, 1},
		{"forgotten, then seen to", notify.ByMail, func(p *pace) { p.pass(2 * due); p.change(farm.TooDry, farm.Eased, farm.Today) }, 2, 2},
		{"harm", notify.ByMail, func(p *pace) { p.change(farm.TooDry, farm.Worsened, farm.Now) }, 1, 1},
		{"a program", notify.ByWebhook, func(p *pace) { p.change(farm.TooDry, farm.Eased, farm.Today) }, 2, 2},
	} {
		t.Run(tt.name, func(t *testing.T) {
			inBubble(t, func(teller *notify.Teller) {
				if teller.Kind = tt.kind; tt.kind == notify.ByWebhook {
					teller.URL = "http://127.0.0.1:1/hook"
				}
			}, func(p *pace) {
				ch, until := change(farm.TooDry, farm.Raised, farm.Today, time.Now()), time.Now().Add(due)
				ch.RoundsUntil = &until
				p.box.add(notify.OwedFor(p.cfg.Tellers, ch, ch.At)...)
				p.pass(12 * time.Hour)
				tt.then(p)
				p.pass(due - 13*time.Hour)
				if got := len(p.bundles()); got != tt.within {
					t.Errorf("%d bundles before its day had passed, want %d", got, tt.within)
				}
				p.pass(3 * due)
				if got := len(p.bundles()); got != tt.after {
					t.Errorf("%d bundles in all, want %d", got, tt.after)
				}
				if !p.box.settled() {
					t.Errorf("something is left in the outbox: %v", p.box.fates())
				}
			})
		})
	}
}

// Who is to be called when nobody else comes hears only of what is at now, has been for so long, and
// nobody has seen to; then of its end.
func TestWhoIsToldAfterTheOthers(t *testing.T) {
	after := func(teller *notify.Teller) { teller.About, teller.After = nil, 30*time.Minute }
	st := farm.Standing{Episode: "e-too-hot", Bin: "bed", Zone: "near", Condition: farm.TooHot, Urgency: farm.Now}
	for _, tt := range []struct {
		name string
		then func(*pace) // ten minutes on
		want []time.Duration
	}{
		{"nobody comes", func(*pace) {}, []time.Duration{30 * time.Minute, 2*time.Hour + 10*time.Second}},
		{"somebody has seen it", func(p *pace) { s := st; s.Seen = true; p.stand(s) }, nil},
		{"it is over", func(p *pace) { p.stand(); p.change(farm.TooHot, farm.Eased, farm.Now) }, nil},
		{"it is less urgent", func(p *pace) {
			s := st
			s.Urgency = farm.Today
			p.stand(s)
			p.change(farm.TooHot, farm.Lightened, farm.Today)
		}, nil},
		{"somebody takes it on for an hour, in vain", func(p *pace) {
			s, until := st, time.Now().Add(time.Hour)
			s.Seen, s.Taken = true, &until
			p.stand(s)
			p.pass(time.Hour)
			s.Seen = false
			p.stand(s)
		}, []time.Duration{100 * time.Minute, 3*time.Hour + 10*time.Second}},
		{"somebody keeps it quiet for an hour", func(p *pace) {
			s, until := st, time.Now().Add(time.Hour)
			s.Hushed = &until
			p.stand(s)
		}, []time.Duration{70 * time.Minute, 2*time.Hour + 10*time.Second}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			inBubble(t, after, func(p *pace) {
				p.change(farm.TooDry, farm.Raised, farm.Today)
				p.stand(st)
				p.change(farm.TooHot, farm.Raised, farm.Now)
				p.pass(10 * time.Minute)
				tt.then(p)
				p.pass(110 * time.Minute)
				p.stand()
				p.change(farm.TooHot, farm.Eased, farm.Now)
				p.pass(time.Hour)
				if !slices.Equal(p.times(), tt.want) || !p.box.settled() {
					t.Errorf("told at %v, want %v; fates %v", p.times(), tt.want, p.box.fates())
				}
			})
		})
	}
}
