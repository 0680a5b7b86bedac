package journal_test

import (
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

func numbered(probe string) (id int64) {
	fmt.Sscanf(probe, "p%d", &id)
	return id
}

func named(id int64) string { return fmt.Sprintf("p%d", id) }

// anyNumber draws numbers of the kinds that probes send, and hard ones.
func anyNumber(t *rapid.T) float64 {
	switch rapid.IntRange(0, 4).Draw(t, "kind") {
	case 0:
		return float64(rapid.IntRange(-400, 900).Draw(t, "sixteenths")) / 16
	case 1:
		return float64(rapid.IntRange(-4000, 9000).Draw(t, "hundredths")) / 100
	case 2:
		return float64(rapid.IntRange(0, 4095).Draw(t, "count"))
	case 3:
		return rapid.Float64().Draw(t, "any")
	}
	return rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, math.MaxFloat64,
		math.SmallestNonzeroFloat64, 1 << 53, 1<<53 + 2, 85, -127, 0.1, 1e-7}).Draw(t, "hard")
}

func anyRow(t *rapid.T, seq int64, at time.Time) farm.Event {
	e := farm.Event{Seq: seq, Arrived: at, Kind: farm.EventTick}
	if rapid.IntRange(0, 9).Draw(t, "tick") == 0 {
		return e
	}
	e.Kind = farm.EventReading
	raw := anyNumber(t) + 0 // SQLite has no minus zero
	value := raw
	switch rapid.IntRange(0, 2).Draw(t, "value") {
	case 0:
		value = farm.CelsiusOf(raw)
	case 1:
		value = anyNumber(t)
	}
	e.Reading = farm.Reading{
		Probe: named(rapid.Int64Range(1, 5).Draw(t, "probe")), At: at, Raw: raw, Value: value + 0,
		Doubt:     farm.Doubt(rapid.IntRange(0, 7).Draw(t, "doubt")),
		Stamped:   rapid.Bool().Draw(t, "stamped"),
		Misdated:  rapid.Bool().Draw(t, "misdated"),
		Uncertain: rapid.Bool().Draw(t, "uncertain"),
		Retained:  rapid.Bool().Draw(t, "retained"),
	}
	if e.Reading.Stamped {
		e.Reading.At = at.Add(-time.Duration(rapid.Int64Range(-600_000, 30*86_400_000).Draw(t, "age")) * time.Millisecond)
	}
	return e
}

// Whatever is packed comes back, bit by bit.
func TestPackLosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 60).Draw(t, "rows")
		seq, at := rapid.Int64Range(0, 1<<40).Draw(t, "seq"), start
		var events []farm.Event
		for range n {
			seq += 1 + rapid.Int64Range(0, 3).Draw(t, "gap")
			at = at.Add(time.Duration(rapid.Int64Range(-1000, 600_000).Draw(t, "step")) * time.Millisecond)
			events = append(events, anyRow(t, seq, at))
		}
		got, err := journal.Unpack(journal.Pack(events, numbered), named)
		if err != nil {
			t.Fatal(err)
		}
		same(t, "unpacked", got, events)
	})
}

// A day of twenty probes takes at most three bytes a reading.
func TestPackIsSmall(t *testing.T) {
	for _, every := range []time.Duration{time.Minute, 10 * time.Minute} {
		say := newTeller(benchFarm(20), every)
		var events []farm.Event
		readings := 0
		for readings < 28_800 {
			e := say.say()
			e.Seq = int64(len(events) + 1)
			events = append(events, e)
			if e.Kind == farm.EventReading {
				readings++
			}
		}
		body := journal.Pack(events, func(probe string) int64 { return numbered(probe) + 1 })
		if each := float64(len(body)) / float64(readings); each > 3 {
			t.Errorf("every %s: got %.2f bytes a reading, want at most 3", every, each)
		}
	}
}

func TestUnpackRefusesWhatIsNotWhole(t *testing.T) {
	body := journal.Pack(days(3, start, time.Hour, time.Minute), func(probe string) int64 { return int64(len(probe)) })
	whole, err := journal.Unpack(body, named)
	if err != nil {
		t.Fatal(err)
	}
	for i := range body {
		broken := append([]byte(nil), body...)
		broken[i] ^= 1 << (i % 8)
		got, err := journal.Unpack(broken, named)
		if err == nil {
			same(t, "with a change of no meaning", got, whole)
		} else if !errors.Is(err, journal.ErrDamaged) {
			t.Fatalf("byte %d changed: got %v, want ErrDamaged", i, err)
		}
	}
	for n := range body {
		if _, err := journal.Unpack(body[:n], named); !errors.Is(err, journal.ErrDamaged) {
			t.Fatalf("cut to %d bytes: got %v, want ErrDamaged", n, err)
		}
	}
}

// FuzzUnpack looks behind the check sum: whatever bytes a card gives back, the
// reader must not panic nor take memory without end.
func FuzzUnpack(f *testing.F) {
	plain, err := journal.Decompress(journal.Pack(days(3, start, time.Hour, time.Minute), func(probe string) int64 { return int64(len(probe)) }))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(plain)
	f.Add([]byte{})
	f.Add([]byte{1, 0xff, 0xff, 0x3f})
	f.Add([]byte{2, 0xff, 0xff, 0x3f})
	f.Fuzz(func(t *testing.T, b []byte) {
		if err := journal.UnpackPlain(b); err != nil && !errors.Is(err, journal.ErrDamaged) {
			t.Errorf("got %v, want nil or ErrDamaged", err)
		}
	})
}
