package auth

import "sync"

const maxOnce = 512

// Once remembers which forms were sent in, so that a double tap or a reload
// writes nothing twice. It keeps the last 512. Safe for concurrent use.
type Once struct {
	mu   sync.Mutex
	seen map[string]bool
	ring []string
	next int
}

// First tells whether a form's token comes for the first time, and notes it.
// A form without a token is always the first.
func (o *Once) First(token string) bool {
	if token == "" {
		return true
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.seen[token] {
		return false
	}
	if o.seen == nil {
		o.seen, o.ring = make(map[string]bool), make([]string, maxOnce)
	}
	delete(o.seen, o.ring[o.next])
	o.ring[o.next], o.seen[token] = token, true
	o.next = (o.next + 1) % maxOnce
	return true
}

// Forget lets a token come again, because its form could not be carried out.
func (o *Once) Forget(token string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	delete(o.seen, token)
}
