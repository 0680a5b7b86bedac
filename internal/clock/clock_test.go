package clock_test

import (
	"testing"
	"time"

	"binwatchd/internal/clock"
)

var (
	built = time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)
	today = time.Date(2026, 12, 10, 8, 0, 0, 0, time.UTC)
)

// A machine has clocks that the test turns.
type machine struct {
	boot   time.Duration
	wall   time.Time
	synced bool
}

func (m *machine) sources() clock.Sources {
	return clock.Sources{
		Wall:      func() time.Time { return m.wall },
		SinceBoot: func() time.Duration { return m.boot },
		Synced:    func() bool { return m.synced },
	}
}

func (m *machine) pass(d time.Duration) { m.boot, m.wall = m.boot+d, m.wall.Add(d) }

func TestAClockSetLateIsPutRight(t *testing.T) {
	m := &machine{wall: time.Date(1970, 1, 1, 0, 0, 20, 0, time.UTC), boot: 20 * time.Second}
	last := today.Add(-72 * time.Hour) // the power was off for three days
	k := clock.NewKeeper(m.sources(), last, built)
	began := k.Now()
	if began.Before(last) || k.Final() {
		t.Fatalf("got %s (final %v), want a guess from %s on", began, k.Final(), last)
	}
	m.pass(10 * time.Minute)
	if got := k.Now().Sub(began); got != 10*time.Minute {
		t.Errorf("got %s passed, want 10 minutes by the monotonic clock", got)
	}
	if _, moved := k.Check(began); moved {
		t.Error("a clock in 1970 was believed")
	}
	m.wall, m.synced = today, true
	c, moved := k.Check(began)
	if !moved || !c.Restamp || c.From != began {
		t.Fatalf("got %+v (moved %v), want a correction from %s", c, moved, began)
	}
	if got := began.Add(10 * time.Minute).Add(c.Shift); !got.Equal(today) {
		t.Errorf("now is put right to %s, want %s", got, today)
	}
	if !k.Now().Equal(today) || !k.Final() {
		t.Errorf("got %s (final %v), want %s", k.Now(), k.Final(), today)
	}
}

func TestAShedWithoutATimeServerGoesOn(t *testing.T) {
	tests := []struct {
		name  string
		last  time.Duration // what is on disk, from the wall clock
		waits time.Duration // after boot until times are passed on
	}{
		{"the wall clock is ahead of what is on disk", -time.Hour, 2 * time.Minute},
		{"the wall clock is behind it", 10 * time.Minute, 6 * time.Hour},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			m := &machine{wall: today, boot: time.Minute}
			k := clock.NewKeeper(m.sources(), today.Add(tt.last), built)
			if want := today.Add(max(0, tt.last)); !k.Now().Equal(want) {
				t.Errorf("got %s, want %s", k.Now(), want)
			}
			for m.boot < tt.waits {
				if k.Final() {
					t.Fatalf("times are passed on %s after boot, want %s", m.boot, tt.waits)
				}
				m.pass(time.Minute)
			}
			if !k.Final() {
				t.Errorf("times are not passed on %s after boot", m.boot)
			}
		})
	}
}

func TestAClockBehindTheJournalIsNotFollowed(t *testing.T) {
	m := &machine{wall: today.Add(-time.Hour), boot: time.Minute}
	k := clock.NewKeeper(m.sources(), today, built)
	if k.Now().Before(today) {
		t.Errorf("got %s, want time to go on from %s", k.Now(), today)
	}
	m.pass(time.Minute)
	if c, moved := k.Check(today); moved {
		t.Errorf("got %+v, want no step back on a merely plausible clock", c)
	}
}

func TestAWrongJumpAheadOfASynchronisedClockIsIgnored(t *testing.T) {
	m := &machine{wall: today, boot: time.Minute, synced: true}
	k := clock.NewKeeper(m.sources(), today.Add(-time.Hour), built)
	k.Now()
	m.wall, m.synced = today.AddDate(10, 0, 0), false
	m.boot += time.Minute
	if c, moved := k.Check(today); moved {
		t.Errorf("got %+v, want an unsynchronised jump ignored", c)
	}
	if got := k.Now().Sub(today); got != time.Minute {
		t.Errorf("got %s passed, want one minute", got)
	}
}

// One wrong jump ahead that had to be believed (nobody keeps this clock) is
// undone when the clock is set back.
func TestAWrongJumpAheadIsUndone(t *testing.T) {
	m := &machine{wall: today, boot: time.Minute}
	k := clock.NewKeeper(m.sources(), today.Add(-time.Hour), built)
	k.Now()
	m.wall = today.AddDate(10, 0, 0)
	ahead, moved := k.Check(today)
	if !moved {
		t.Fatal("a plausible clock was not followed")
	}
	far := k.Now()
	m.wall, m.synced = today.Add(time.Second), true
	m.boot += time.Second
	back, moved := k.Check(far)
	if !moved || back.Shift+ahead.Shift > 0 || (back.Shift+ahead.Shift).Abs() > time.Second {
		t.Errorf("got %+v after %+v, want it undone", back, ahead)
	}
	if got := k.Now(); !got.Equal(today.Add(time.Second)) {
		t.Errorf("got %s, want %s", got, today.Add(time.Second))
	}
}

// A synchronised clock that jumps and comes back was wrong meanwhile, whatever the
// kernel called it; one that jumps and stays was wrong before, and nobody knows since
// when.
func TestAJumpOfASynchronisedClockThatIsTakenBack(t *testing.T) {
	for name, tt := range map[string]struct {
		jumps   []time.Duration
		restamp []bool
	}{
		"a month ahead and back":    {[]time.Duration{30 * 24 * time.Hour, -30 * 24 * time.Hour}, []bool{false, true}},
		"a month back and ahead":    {[]time.Duration{-30 * 24 * time.Hour, 30 * 24 * time.Hour}, []bool{false, true}},
		"ahead, and half way back":  {[]time.Duration{time.Hour, -30 * time.Minute}, []bool{false, false}},
		"there, back, and there":    {[]time.Duration{time.Hour, -time.Hour, time.Hour}, []bool{false, true, false}},
		"there, back, there, back":  {[]time.Duration{time.Hour, -time.Hour, time.Hour, -time.Hour}, []bool{false, true, false, true}},
		"ahead, farther, and there": {[]time.Duration{time.Hour, 5 * time.Hour, -5 * time.Hour}, []bool{false, false, true}},
	} {
		t.Run(name, func(t *testing.T) {
			m := &machine{wall: today, boot: time.Minute, synced: true}
			k := clock.NewKeeper(m.sources(), today.Add(-time.Hour), built)
			for i, jump := range tt.jumps {
				m.pass(time.Hour)
				m.wall = m.wall.Add(jump)
				c, moved := k.Check(k.Now())
				if !moved || c.Shift != jump || c.Restamp != tt.restamp[i] {
					t.Errorf("jump %d: got %+v (moved %v), want restamping %v", i, c, moved, tt.restamp[i])
				}
			}
			if !k.Now().Equal(m.wall) {
				t.Errorf("got %s, want %s", k.Now(), m.wall)
			}
		})
	}
}

// A journal that ends in a future, because of a wrong jump in the past, is no
// evidence against a clock that is synchronised now.
func TestAPoisonedJournalDoesNotBindASynchronisedClock(t *testing.T) {
	m := &machine{wall: today, boot: time.Minute, synced: true}
	k := clock.NewKeeper(m.sources(), today.AddDate(10, 0, 0), built)
	c, needed := k.Begin()
	if !needed || c.Shift > 0 || c.Restamp {
		t.Errorf("got %+v (needed %v), want a step back that leaves what is on disk alone", c, needed)
	}
	if !k.Now().Equal(today) {
		t.Errorf("got %s, want %s", k.Now(), today)
	}
}

func TestSlewingIsNoJump(t *testing.T) {
	m := &machine{wall: today, boot: time.Minute, synced: true}
	k := clock.NewKeeper(m.sources(), time.Time{}, built)
	k.Now()
	for range 100 {
		m.pass(time.Minute)
		m.wall = m.wall.Add(30 * time.Millisecond)
		if c, moved := k.Check(today); moved {
			t.Fatalf("got %+v, want the drift followed", c)
		}
	}
	if off := m.wall.Sub(k.Now()).Abs(); off > 50*time.Millisecond {
		t.Errorf("got %s behind the wall clock, want it followed", off)
	}
}
