package shared_test

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"binwatchd/internal/shared"
)

const fresh = time.Second

// slow counts how often a value was made, which takes half a second; each is the number
// of what had happened when it was begun.
type slow struct{ made, happened atomic.Int64 }

func (s *slow) create(ctx context.Context) (int64, error) {
	s.made.Add(1)
	saw := s.happened.Load()
	select {
	case <-time.After(fresh / 2):
		return saw, nil
	case <-ctx.Done():
		return 0, ctx.Err()
	}
}

func TestManyGetOne(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var s slow
		v := shared.New(fresh, time.Now, s.create)
		ask := func(many int) {
			var all sync.WaitGroup
			for range many {
				all.Go(func() {
					if _, err := v.Get(t.Context()); err != nil {
						t.Error(err)
					}
				})
			}
			all.Wait()
		}
		ask(200)
		ask(200) // half a second later it is still fresh
		if n := s.made.Load(); n != 1 {
			t.Errorf("it was made %d times for those who asked within a second", n)
		}
		time.Sleep(fresh/2 + time.Millisecond)
		if ask(200); s.made.Load() != 2 {
			t.Errorf("it was made %d times, the second time when it was a second old", s.made.Load())
		}
	})
}

// TestWhatWasDoneIsShown: who asks after something was done never gets what was begun
// before that, also while such a one is being made.
func TestWhatWasDoneIsShown(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var s slow
		v := shared.New(fresh, time.Now, s.create)
		go v.Get(t.Context())
		for n := range int64(8) {
			time.Sleep(fresh / 5) // now and then while one is made
			s.happened.Add(1)
			v.Drop()
			if saw, err := v.Get(t.Context()); err != nil || saw != n+1 {
				t.Fatalf("got what was begun when %d things had happened, %v; want %d", saw, err, n+1)
			}
		}
	})
}

// TestWhoGoesAwayTakesNobodyWithThem: neither one who waits nor the one it is made for.
func TestWhoGoesAwayTakesNobodyWithThem(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var s slow
		v := shared.New(fresh, time.Now, s.create)
		gone := make(chan error)
		for range 2 {
			ctx, cancel := context.WithTimeout(t.Context(), fresh/4)
			defer cancel()
			go func() {
				_, err := v.Get(ctx)
				gone <- err
			}()
			synctest.Wait()
		}
		got := make(chan error)
		go func() {
			_, err := v.Get(t.Context())
			got <- err
		}()
		for range 2 {
			if err := <-gone; !errors.Is(err, context.DeadlineExceeded) {
				t.Errorf("who went away got %v", err)
			}
		}
		if err := <-got; err != nil {
			t.Error(err)
		}
	})
}

// TestAClockThatIsPutBack makes nothing fresh that is not.
func TestAClockThatIsPutBack(t *testing.T) {
	now, made := time.Date(2025, 5, 3, 12, 0, 0, 0, time.UTC), 0
	v := shared.New(fresh, func() time.Time { return now }, func(context.Context) (int, error) { made++; return made, nil })
	for i, step := range []time.Duration{0, -time.Hour, 2 * time.Hour} {
		now = now.Add(step)
		if got, _ := v.Get(t.Context()); got != i+1 {
			t.Errorf("after a step of %v the one made before was given", step)
		}
	}
}
