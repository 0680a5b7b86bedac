package ingest

import (
	"fmt"
	"slices"
	"time"
)

// Hear changes the topic filters, also of the connection that stands: after a
// reload the session goes on, new topics are heard and old ones no more. It
// does not wait. What a broker that is away still holds of the old ones is
// left at the next connect.
func (s *Source) Hear(filters []string) {
	s.mu.Lock()
	for _, f := range s.filters {
		if !slices.Contains(filters, f) && !slices.Contains(s.left, f) {
			s.left = append(s.left, f)
		}
	}
	s.left = slices.DeleteFunc(s.left, func(f string) bool { return slices.Contains(filters, f) })
	s.filters = slices.Clone(filters)
	s.mu.Unlock()
	select {
	case s.other <- struct{}{}:
	default: // one is on its way
	}
}

// wanted gives the filters in force and those to be left.
func (s *Source) wanted() (filters, left []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.filters), slices.Clone(s.left)
}

// departed notes that the broker holds these filters no more.
func (s *Source) departed(left []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.left = slices.DeleteFunc(s.left, func(f string) bool { return slices.Contains(left, f) })
}

// leave takes back subscriptions that are not wanted any more.
func (ss *session) leave(left []string) error {
	if len(left) == 0 {
		return nil
	}
	token := ss.client.Unsubscribe(left...)
	if !token.WaitTimeout(subscribeTime) {
		return fmt.Errorf("leave %d topics: no answer after %s", len(left), subscribeTime)
	}
	if err := token.Error(); err != nil {
		return fmt.Errorf("leave %d topics: %w", len(left), err)
	}
	ss.source.departed(left)
	return nil
}

// refilter brings a standing connection to the filters in force. Subscribing
// replays stored values, so only what is new is subscribed to.
func (ss *session) refilter() {
	filters, left := ss.source.wanted()
	fresh := slices.DeleteFunc(slices.Clone(filters), func(f string) bool { return slices.Contains(ss.heard, f) })
	refused, err := ss.subscribe(fresh, time.After(subscribeTime), nil)
	if err == nil {
		err = ss.leave(left)
	}
	switch {
	case err != nil:
		ss.lose(err) // a new connection subscribes to everything
	case len(refused) > 0:
		ss.source.cfg.Log.Warn("broker refuses topics", "broker", ss.host, "filters", refused)
	}
	ss.heard = filters
}
