package auth

import (
	"slices"
	"sync"
)

const maxOnce = 512

// Once remembers which forms were sent in, so that a double tap or a reload
// writes nothing twice. It keeps the last 512. Safe for concurrent use.
type Once struct {
	mu   sync.Mutex
	seen []string // the newest last
}

// First tells whether a form's token comes for the first time, and notes it.
// A form without a token is always the first.
func (o *Once) First(token string) bool {
	if token == "" {
		return true
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if slices.Contains(o.seen, token) {
		return false
	}
	o.seen = append(o.seen[max(0, len(o.seen)-maxOnce+1):], token)
	return true
}

// Forget lets a token come again, because its form could not be carried out.
func (o *Once) Forget(token string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.seen = slices.DeleteFunc(o.seen, func(s string) bool { return s == token })
}
