// Package shared gives many who ask at once the one answer that is dear to make: how
// the farm stands, which the live loop alone can say and should be asked for seldom.
// It knows nothing of what is made. cmd wires it between the parts that look and those
// that are looked at.
package shared

import (
	"context"
	"sync"
	"time"
)

// A Value is made for the first who asks, and given to all who ask while it is fresh. It
// is shared: nobody may change it.
type Value[T any] struct {
	fresh  time.Duration
	now    func() time.Time
	create func(context.Context) (T, error)
	turn   chan struct{} // full while it is made

	mu   sync.Mutex
	kept *kept[T]
	drop int // how often it was dropped
}

// A kept value was begun at a time; what happened since is not in it.
type kept[T any] struct {
	value T
	at    time.Time
}

// New makes a value that stays fresh for so long by the clock now.
func New[T any](fresh time.Duration, now func() time.Time, create func(context.Context) (T, error)) *Value[T] {
	return &Value[T]{fresh: fresh, now: now, create: create, turn: make(chan struct{}, 1)}
}

// Get gives the value, and makes it where none is fresh: one at a time, while the others
// wait for it or for the end of their contexts. A failure is for who met it alone.
func (v *Value[T]) Get(ctx context.Context) (T, error) {
	if k, _ := v.have(); k != nil {
		return k.value, nil
	}
	select {
	case v.turn <- struct{}{}:
	case <-ctx.Done():
		return *new(T), ctx.Err()
	}
	defer func() { <-v.turn }()
	k, drop := v.have()
	if k != nil {
		return k.value, nil
	}
	at := v.now()
	made, err := v.create(ctx)
	if err != nil {
		return *new(T), err
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.drop == drop {
		v.kept = &kept[T]{made, at}
	}
	return made, nil
}

// Drop has the next who asks get a new one: something was done that it must show. One
// that is being made goes to the one it is made for, and is not kept.
func (v *Value[T]) Drop() {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.kept, v.drop = nil, v.drop+1
}

// have gives the value while it is fresh, and how often it was dropped until now.
func (v *Value[T]) have() (*kept[T], int) {
	now := v.now()
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.kept != nil && now.Sub(v.kept.at).Abs() > v.fresh { // a clock that was put back makes nothing fresh
		v.kept = nil
	}
	return v.kept, v.drop
}
