package demo_test

import (
	"bytes"
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/demo"
)

func collect(s *demo.Sim, stops ...time.Duration) []demo.Message {
	var all []demo.Message
	for _, d := range stops {
		s.Until(start.Add(d), func(m demo.Message) { all = append(all, m) })
	}
	return all
}

func sameMessage(a, b demo.Message) bool {
	return a.At.Equal(b.At) && a.Topic == b.Topic && bytes.Equal(a.Payload, b.Payload) && a.Retain == b.Retain
}

func TestSameSeedSaysTheSame(t *testing.T) {
	whole := collect(demo.New(5, start), 9*day)
	pieces := collect(demo.New(5, start), time.Second, time.Hour, 25*time.Hour, 25*time.Hour, 8*day, 9*day)
	if !slices.EqualFunc(whole, pieces, sameMessage) {
		t.Error("stopping on the way changed what was said")
	}
	if slices.EqualFunc(whole, collect(demo.New(6, start), 9*day), sameMessage) {
		t.Error("another seed said the same")
	}
	abroad := collect(demo.New(5, start.In(time.FixedZone("elsewhere", 5*3600))), 9*day)
	if !slices.EqualFunc(whole, abroad, sameMessage) {
		t.Error("the zone in which the start is written changed what was said")
	}
}

func TestMessagesComeInTimeOrder(t *testing.T) {
	all := collect(demo.New(8, start), 10*day)
	last := start
	for _, m := range all {
		if m.At.Before(last) || m.At.After(start.Add(10*day)) {
			t.Fatalf("%s at %s after one at %s", m.Topic, m.At, last)
		}
		if m.At != m.At.Truncate(time.Millisecond) {
			t.Fatalf("%s: finer than a millisecond", m.At)
		}
		last = m.At
	}
	if n := len(all); n < 15000 || n > 25000 {
		t.Errorf("got %d messages in ten days, want some twenty thousand", n)
	}
}

func TestNextIsNeverLate(t *testing.T) {
	s := demo.New(8, start)
	for range 3000 {
		next := s.Next()
		s.Until(next.Add(-time.Nanosecond), func(m demo.Message) {
			t.Fatalf("%s was said at %s, before the %s foretold", m.Topic, m.At, next)
		})
		s.Until(next, func(m demo.Message) {
			if !m.At.Equal(next) {
				t.Fatalf("%s was said at %s, not at the %s foretold", m.Topic, m.At, next)
			}
		})
	}
	if gone := s.Next().Sub(start); gone < 20*time.Hour {
		t.Errorf("three thousand turns took %s", gone)
	}
}

// A stamp in a payload is the time it was sent, to what the format can hold.
func TestStampsAreTheTimeOfSending(t *testing.T) {
	seen := 0
	for _, m := range collect(demo.New(1, start), 2*day) {
		if m.Topic == "glass/bed" {
			seen++
			if want := m.At.Format(time.RFC3339); !strings.Contains(string(m.Payload), `"at":"`+want+`"`) {
				t.Fatalf("got %s, want a stamp of %s", m.Payload, want)
			}
		}
	}
	if seen < 280 {
		t.Errorf("heard the bed %d times in two days, want nearly 288", seen)
	}
}
