package auth

// Len is how many sessions are kept.
func (s *Sessions) Len() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.used)
}
