package demo_test

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"binwatchd/internal/demo"
)

var errFull = errors.New("no space left")

// A log takes messages and the farm's time of their coming.
type log struct {
	now      func() time.Time
	messages []demo.Message
	late     time.Duration // the most that a message came after its time
	room     int           // how many are taken before the disk is full
}

func (l *log) Publish(_ context.Context, m demo.Message) error {
	if len(l.messages) == l.room {
		return errFull
	}
	l.messages = append(l.messages, m)
	l.late = max(l.late, l.now().Sub(m.At))
	if l.now().Before(m.At.Add(-time.Millisecond)) {
		return errors.New("published before its time")
	}
	return nil
}

func TestPlayKeepsToTheHastenedClock(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const speedup = 3600
		ctx, cancel := context.WithTimeout(t.Context(), 24*time.Second)
		defer cancel()
		clock := demo.Hasten(time.Now, start, speedup)
		l := &log{now: clock, room: 1 << 20}
		err := demo.New(3, start).Play(ctx, l, speedup, clock)
		if !errors.Is(err, context.DeadlineExceeded) {
			t.Fatalf("got %v, want the context's end", err)
		}
		want := collect(demo.New(3, start), 24*time.Hour)
		if got := len(l.messages); got < len(want)-2 || got > len(want) {
			t.Errorf("24 s at %d times: got %d messages, want the %d of a day", speedup, got, len(want))
		}
		if l.late > time.Second {
			t.Errorf("a message came %s of farm time late", l.late)
		}
	})
}

func TestPlayCatchesUpAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		began := time.Now()
		clock := demo.Hasten(time.Now, start.Add(2*day), 1)
		l := &log{now: clock, room: 3000}
		err := demo.New(3, start).Play(ctx, l, 1, clock)
		if !errors.Is(err, errFull) {
			t.Fatalf("got %v, want what the publisher met", err)
		}
		if waited := time.Since(began); waited != 0 {
			t.Errorf("waited %s for messages long due", waited)
		}
	})
}

func TestPlayEndsWithItsContextThoughMuchIsDue(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	clock := func() time.Time { return start.Add(2 * day) }
	l := &log{now: clock, room: 1}
	if err := demo.New(3, start).Play(ctx, l, 1, clock); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want the context's end", err)
	}
	if len(l.messages) != 0 {
		t.Errorf("published %d messages after the end", len(l.messages))
	}
}

func TestHasten(t *testing.T) {
	wall := start
	clock := demo.Hasten(func() time.Time { return wall }, start.Add(-30*day), 60)
	if got, want := clock(), start.Add(-30*day); !got.Equal(want) {
		t.Errorf("at once: got %s, want %s", got, want)
	}
	wall = wall.Add(time.Minute)
	if got, want := clock(), start.Add(-30*day).Add(time.Hour); !got.Equal(want) {
		t.Errorf("after a minute: got %s, want %s", got, want)
	}
}
