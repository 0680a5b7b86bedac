package notify_test

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"binwatchd/internal/farm"
)

// box is an outbox in memory that keeps the contract of notify.Outbox and can
// be made to fail.
type box struct {
	mu     sync.Mutex
	last   int64
	rows   []row
	wake   chan struct{}
	broken disk
}

// disk is what an outbox suffers from.
type disk int

const (
	well disk = iota
	full      // nothing can be written
	gone      // nor read
)

type row struct {
	farm.Owed
	fate farm.Fate
	told time.Time
}

var errBroken = errors.New("disk full")

func newBox() *box { return &box{wake: make(chan struct{}, 1)} }

// add owes rows, as the journal does in the transaction of a change.
func (b *box) add(owed ...farm.Owed) {
	b.mu.Lock()
	for _, o := range owed {
		b.last++
		o.ID, o.ChangeID = b.last, b.last
		b.rows = append(b.rows, row{Owed: o})
	}
	b.mu.Unlock()
	select {
	case b.wake <- struct{}{}:
	default:
	}
}

func (b *box) Wake() <-chan struct{} { return b.wake }

func (b *box) Owed(_ context.Context, teller string, now time.Time, limit int) ([]farm.Owed, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.broken == gone {
		return nil, errBroken
	}
	var out []farm.Owed
	for _, r := range b.rows {
		if r.fate == "" && r.Teller == teller && !r.Next.After(now) && len(out) < limit {
			out = append(out, r.Owed)
		}
	}
	return out, nil
}

func (b *box) ToldOf(_ context.Context, teller, episode string) ([]farm.Owed, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.broken == gone {
		return nil, errBroken
	}
	var out []row
	for _, r := range b.rows {
		if r.Teller == teller && r.Change.Episode == episode && (r.fate == farm.Told || r.fate == farm.Summed) {
			r.Next = r.told
			out = append(out, r)
		}
	}
	slices.SortStableFunc(out, func(a, b row) int { return cmp.Compare(a.ID, b.ID) })
	var told []farm.Owed
	for _, r := range out {
		told = append(told, r.Owed)
	}
	return told, nil
}

func (b *box) ToldSince(_ context.Context, teller string, from time.Time) ([]farm.Owed, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.broken == gone {
		return nil, errBroken
	}
	var told []farm.Owed
	for _, r := range b.rows {
		if r.Teller == teller && r.fate == farm.Told && !r.told.Before(from) {
			r.Next = r.told
			told = append(told, r.Owed)
		}
	}
	slices.SortStableFunc(told, func(a, b farm.Owed) int { return a.Next.Compare(b.Next) })
	return told, nil
}

func (b *box) Settle(_ context.Context, at time.Time, ends ...farm.Fated) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.broken != well {
		return errBroken
	}
	for i := range b.rows {
		for _, e := range ends {
			if slices.Contains(e.IDs, b.rows[i].ID) {
				b.rows[i].fate, b.rows[i].told = e.Fate, at
			}
		}
	}
	return nil
}

func (b *box) Postpone(_ context.Context, ids []int64, next time.Time, trouble string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.broken != well {
		return errBroken
	}
	for i := range b.rows {
		if r := &b.rows[i]; slices.Contains(ids, r.ID) {
			r.Next, r.Trouble, r.Bundle = next, trouble, ""
			r.Tries++
		}
	}
	return nil
}

func (b *box) HandOver(_ context.Context, ids []int64, bundle string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.broken != well {
		return errBroken
	}
	for i := range b.rows {
		if slices.Contains(ids, b.rows[i].ID) {
			b.rows[i].Bundle = bundle
		}
	}
	return nil
}

func (b *box) Owe(_ context.Context, owed []farm.Owed) error {
	b.mu.Lock()
	broken := b.broken != well
	b.mu.Unlock()
	if broken {
		return errBroken
	}
	b.add(owed...)
	return nil
}

// fates lists what became of every row, in order.
func (b *box) fates() []farm.Fate {
	b.mu.Lock()
	defer b.mu.Unlock()
	var out []farm.Fate
	for _, r := range b.rows {
		out = append(out, r.fate)
	}
	return out
}

// settled tells whether nothing is owed any more.
func (b *box) settled() bool { return !slices.Contains(b.fates(), farm.Fate("")) }

func (b *box) setBroken(broken disk) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.broken = broken
}

// all copies the rows.
func (b *box) all() []row {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.rows)
}

// due makes everything due that was postponed.
func (b *box) due() {
	b.mu.Lock()
	defer b.mu.Unlock()
	for i := range b.rows {
		b.rows[i].Next = b.rows[i].Created
	}
}
