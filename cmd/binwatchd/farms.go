package main

import (
	"sync"

	"binwatchd/internal/farm"
)

// farms are the one place from which the daemon's parts have the farm: the one in
// force, and for what is passed on late the one that was when it was noted.
type farms struct {
	mu     sync.Mutex
	reigns []reign // oldest first
}

// A reign is the farm that was in force from a place in the journal on.
type reign struct {
	farm *farm.Farm
	from int64
}

// mostReigns bounds what is remembered: reloads of one run of the daemon.
const mostReigns = 64

// take puts a farm in force from a place on.
func (f *farms) take(fm *farm.Farm, from int64) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if n := len(f.reigns); n > 0 && f.reigns[n-1].farm == fm {
		return // the loop began anew under the same one
	}
	if len(f.reigns) == mostReigns {
		f.reigns = f.reigns[1:]
	}
	f.reigns = append(f.reigns, reign{fm, from})
}

// now is the farm in force.
func (f *farms) now() *farm.Farm {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.reigns[len(f.reigns)-1].farm
}

// at is the farm that was in force at a place; the oldest known where that is not
// known any more.
func (f *farms) at(seq int64) *farm.Farm {
	f.mu.Lock()
	defer f.mu.Unlock()
	for i := len(f.reigns) - 1; i > 0; i-- {
		if f.reigns[i].from <= seq {
			return f.reigns[i].farm
		}
	}
	return f.reigns[0].farm
}
