package ingest

import (
	"sync"
	"time"
)

// An allowance is a number of bytes that all connections together may have on
// their way in.
type allowance struct {
	mu    sync.Mutex
	left  int
	freed chan struct{} // closed when some come back, and made anew
}

func newAllowance(bytes int) *allowance {
	return &allowance{left: bytes, freed: make(chan struct{})}
}

// take takes n bytes. It waits while there are not as many, and gives up after
// a while or when who asks is gone.
func (a *allowance) take(n int, gone <-chan struct{}, while time.Duration) bool {
	timer := time.NewTimer(while)
	defer timer.Stop()
	for {
		freed, ok := a.try(n)
		if ok {
			return true
		}
		select {
		case <-freed:
		case <-gone:
			return false
		case <-timer.C:
			return false
		}
	}
}

// try takes n bytes, or gives what is closed when it is worth another try.
func (a *allowance) try(n int) (freed <-chan struct{}, ok bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.left < n {
		return a.freed, false
	}
	a.left -= n
	return nil, true
}

func (a *allowance) give(n int) {
	if n == 0 {
		return
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.left += n
	close(a.freed)
	a.freed = make(chan struct{})
}
