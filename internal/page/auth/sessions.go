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
	used map[[sha256.Size]byte]session
}

type session struct {
	at  time.Time // last use
	who Visitor
}

// Open begins a session and gives its token, fit for a cookie.
func (s *Sessions) Open(now time.Time, who Visitor) string {
	token := rand.Text()
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.used == nil {
		s.used = make(map[[sha256.Size]byte]session)
	}
	if len(s.used) >= maxSessions {
		byUse := func(a, b [sha256.Size]byte) int { return s.used[a].at.Compare(s.used[b].at) }
		delete(s.used, slices.MinFunc(slices.Collect(maps.Keys(s.used)), byUse))
	}
	s.used[sha256.Sum256([]byte(token))] = session{now, who}
	return token
}

// Known tells whether token belongs to a session that is still good, and whose it is. It
// counts as a use of it.
func (s *Sessions) Known(token string, now time.Time) (who Visitor, ok bool) {
	k := sha256.Sum256([]byte(token))
	s.mu.Lock()
	defer s.mu.Unlock()
	one, ok := s.used[k]
	delete(s.used, k)
	if ok = ok && now.Sub(one.at) <= SessionLife; ok {
		s.used[k] = session{now, one.who}
	}
	return one.who, ok
}

// Close ends a session. An unknown token is no matter.
func (s *Sessions) Close(token string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.used, sha256.Sum256([]byte(token)))
}
