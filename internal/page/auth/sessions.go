package auth

import (
	"crypto/rand"
	"crypto/sha256"
	"maps"
	"slices"
	"sync"
	"time"
)

const (
	maxSessions = 64
	// SessionLife is how long a session lasts after its last use.
	SessionLife = 30 * 24 * time.Hour
)

// Sessions remembers who gave the password. It holds hashes of tokens, in
// memory only: a restart asks everybody again. At most 64 are kept; the one
// longest unused makes room. Safe for concurrent use.
type Sessions struct {
	mu   sync.Mutex
	used map[[sha256.Size]byte]time.Time // last use
}

// Open begins a session and gives its token, fit for a cookie.
func (s *Sessions) Open(now time.Time) string {
	token := rand.Text()
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.used == nil {
		s.used = make(map[[sha256.Size]byte]time.Time)
	}
	if len(s.used) >= maxSessions {
		byUse := func(a, b [sha256.Size]byte) int { return s.used[a].Compare(s.used[b]) }
		delete(s.used, slices.MinFunc(slices.Collect(maps.Keys(s.used)), byUse))
	}
	s.used[sha256.Sum256([]byte(token))] = now
	return token
}

// Known tells whether token belongs to a session that is still good, and
// counts this as a use of it.
func (s *Sessions) Known(token string, now time.Time) bool {
	k := sha256.Sum256([]byte(token))
	s.mu.Lock()
	defer s.mu.Unlock()
	at, ok := s.used[k]
	delete(s.used, k)
	if ok = ok && now.Sub(at) <= SessionLife; ok {
		s.used[k] = now
	}
	return ok
}

// Close ends a session. An unknown token is no matter.
func (s *Sessions) Close(token string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.used, sha256.Sum256([]byte(token)))
}
