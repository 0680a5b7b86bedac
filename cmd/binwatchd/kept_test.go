package main

import (
	"context"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// A ledger is what the journal holds of a load, read beside a running daemon.
type ledger struct {
	t     *testing.T
	path  string
	after int64 // read so far
	times map[int]int
	at    map[int64]bool // times of the readings, in ms: the points of a database
	last  int            // the highest number
}

func newLedger(t *testing.T, path string) *ledger {
	return &ledger{t: t, path: path, times: map[int]int{}, at: map[int64]bool{}}
}

// open gives the journal as it is now, for reading.
func (k *ledger) open() *journal.Journal {
	k.t.Helper()
	j, err := journal.OpenReadOnly(context.Background(), journal.Config{Path: k.path, Now: time.Now})
	if err != nil {
		k.t.Fatal(err)
	}
	return j
}

// read takes in what has been kept since the last time.
func (k *ledger) read() {
	k.t.Helper()
	j := k.open()
	defer j.Close()
	err := j.Replay(context.Background(), k.after, func(e farm.Event) error {
		k.after = e.Seq
		if n := numberOf(e); n > 0 {
			k.times[n]++
			k.at[e.Reading.At.UnixMilli()] = true
			k.last = max(k.last, n)
		}
		return nil
	})
	if err != nil {
		k.t.Fatal(err)
	}
}

// A gap is what a killed broker may have lost: the numbers after the last one
// known to be kept, up to the first one sent when it was back.
type gap struct{ after, before int }

func (g gap) has(n int) bool { return g.after < n && n < g.before }

// check holds what was kept against what was sent: what the broker accepted is
// kept once, but for the gaps; what it may or may not have accepted, and what
// lies in a gap or was kept elsewhere, is kept once at most. Nothing else is kept.
func (k *ledger) check(l *stream, gaps []gap, elsewhere map[int]int) (kept, lost int) {
	k.t.Helper()
	wrong := 0
	for n := 1; n <= l.tried(); n++ {
		times, least := k.times[n], 0
		if l.fate(n) == accepted && elsewhere[n] == 0 {
			least = 1
		}
		for _, g := range gaps {
			if g.has(n) && least == 1 {
				least = 0
				lost += 1 - min(times, 1)
			}
		}
		kept += times
		if times >= least && times <= 1 {
			continue
		}
		if wrong++; wrong <= 20 {
			k.t.Errorf("number %d is in the journal %d times, want %d to 1", n, times, least)
		}
	}
	if wrong > 20 {
		k.t.Errorf("... and %d more", wrong-20)
	}
	for n := range k.times {
		if n > l.tried() {
			k.t.Errorf("number %d is in the journal, and was never sent", n)
		}
	}
	return kept, lost
}
