package ingest

import (
	"crypto/rand"
	"fmt"
	"strings"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"binwatchd/internal/farm"
)

// A marker is a message of our own that goes through the broker's queue for us:
// what comes before it was kept while we were away, what comes after it is live.
// Each connection has one of its own, for those of earlier ones may lie in the
// queue too. It is asked for only where the broker has resumed our session.
//
// A broker may refuse it, take it and never give it back, or end the connection
// over it. It is then done without, and the pace of each probe has to tell.

// markerTopic is where markers go, under the prefix.
const markerTopic = "marker"

// markersLost is after how many connections in a row that ended before their
// marker had come back a broker is asked for none.
const markersLost = 3

// MarkerTopic is the topic of the markers of a client under a prefix.
func MarkerTopic(prefix, clientID string) string {
	safe := func(r rune) rune {
		if strings.ContainsRune("/+#$\x00", r) {
			return '_'
		}
		return r
	}
	return strings.TrimSuffix(prefix, "/") + "/" + markerTopic + "/" + strings.Map(safe, clientID)
}

// backlog asks to hear the marker, where there is a backlog to be marked, and
// tells what follows.
func (ss *session) backlog(resumed bool, late <-chan time.Time, over <-chan struct{}) (farm.Backlog, error) {
	s := ss.source
	switch {
	case !resumed:
		return farm.NoBacklog, nil
	case s.cfg.Marker == "" || s.unmarked[ss.host] >= markersLost:
		return farm.Unmarked, nil
	}
	s.unmarked[ss.host]++ // until it has come back
	refused, err := ss.subscribe([]string{s.cfg.Marker}, late, over)
	switch {
	case err != nil:
		return farm.Unmarked, fmt.Errorf("for the marker: %w", err)
	case len(refused) > 0:
		s.cfg.Log.Info("broker refuses the marker; the pace of the probes tells what is backlog", "broker", ss.host, "topic", s.cfg.Marker)
		return farm.Unmarked, nil
	}
	return farm.Marked, nil
}

// mark sends the marker of this connection. It does not wait for the broker: an
// answer says nothing, and what counts is that it comes back.
func (ss *session) mark() {
	ss.client.Publish(ss.source.cfg.Marker, 1, false, ss.nonce)
}

// marker takes a marker in, ours or an earlier one; with mu held.
func (ss *session) marker(m mqtt.Message) (ours, back bool) {
	if ss.source.cfg.Marker == "" || m.Topic() != ss.source.cfg.Marker {
		return false, false
	}
	back = !ss.back && !m.Retained() && string(m.Payload()) == ss.nonce
	ss.back = ss.back || back
	return true, back
}

// marked notes at the end of a connection whether the broker gives markers back,
// or has at least borne with one for a while.
func (ss *session) marked() {
	ss.mu.Lock()
	back := ss.back
	ss.mu.Unlock()
	if s := ss.source; back || s.cfg.Now().Sub(ss.began) > s.cfg.LastRetry {
		s.unmarked[ss.host] = 0
	}
}

// newNonce makes what no other connection has.
func newNonce() string { return rand.Text() }
