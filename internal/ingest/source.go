package ingest

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"slices"
	"sync"
	"sync/atomic"
	"time"
)

// room is how many items may wait for the caller. It is far over the number
// of unacknowledged messages that any broker sends (20 by default).
const room = 4096

// A SourceConfig says which broker to hear and as whom.
type SourceConfig struct {
	URLs           []string // tcp:// or tls://, tried in order
	User, Password string
	TLS            *tls.Config // for tls:// URLs; nil trusts the system's authorities
	ClientID       string      // the broker keeps the session under this name
	Filters        []string    // topic filters to subscribe to, with QoS 1
	Marker         string      // topic of the markers, see MarkerTopic; "": none are sent
	Log            *slog.Logger
	Now            func() time.Time

	// Passing asks the broker to keep nothing for us: for a look that ends, whose
	// session would else fill up until the broker forgets it.
	Passing bool

	FirstRetry  time.Duration // pause after the first trouble; 0: 1 s
	LastRetry   time.Duration // longest pause; 0: 60 s
	LongestHold time.Duration // how long it waits for a caller that is behind before it stops hearing; 0: 20 s
}

// A Source hears a broker as a subscriber with a lasting session, and hands
// over what it hears, unacknowledged.
//
// It makes a new client for every connection rather than leave reconnecting to
// the client library, which hides whether the broker kept the session and in
// its defaults stops trying at boot. What is acknowledged after its connection
// is gone is not acknowledged; the broker sends it again, marked as such. The
// client's handler never waits. When the caller is behind, the source reads no
// more from the network for a while; when its buffer is full all the same, it
// stops hearing and reconnects once the caller has caught up; the broker keeps
// the rest.
type Source struct {
	cfg   SourceConfig
	items chan Item
	again chan struct{}
	other chan struct{} // the filters are others now
	ran   atomic.Bool

	unmarked map[string]int // broker → connections in a row whose marker has not come back; Run's own

	mu      sync.Mutex
	filters []string // in force
	left    []string // the broker may still hold, though they are not wanted
}

// NewSource makes a source. Nothing happens until Run.
func NewSource(c SourceConfig) *Source {
	if c.FirstRetry == 0 {
		c.FirstRetry = time.Second
	}
	if c.LastRetry == 0 {
		c.LastRetry = time.Minute
	}
	if c.LongestHold == 0 {
		c.LongestHold = holdTime
	}
	return &Source{cfg: c, items: make(chan Item, room), again: make(chan struct{}, 1), other: make(chan struct{}, 1),
		unmarked: map[string]int{}, filters: slices.Clone(c.Filters)}
}

// Items carries links and deliveries in the order they happened. It is closed
// when Run has returned.
func (s *Source) Items() <-chan Item { return s.items }

// Reconnect drops the connection and makes a new one at once, so that all that
// is not acknowledged comes again, after a Link that is up. It does not wait.
func (s *Source) Reconnect() {
	select {
	case s.again <- struct{}{}:
	default: // one is on its way
	}
}

// Run keeps a connection until the context ends, and then disconnects. Trouble
// with the broker is told by a Link and tried again, first after a second and
// then ever more slowly. Run can be used once.
func (s *Source) Run(ctx context.Context) error {
	if s.ran.Swap(true) {
		return errors.New("run source: it has run before")
	}
	defer close(s.items)
	pause, soon := s.cfg.FirstRetry, 0
	for ctx.Err() == nil {
		began := s.cfg.Now()
		asked, err := s.once(ctx)
		if ctx.Err() != nil {
			return nil
		}
		well, lasted := asked || errors.Is(err, errBehind), s.cfg.Now().Sub(began) // the broker is well
		if soon++; well || lasted > s.cfg.LastRetry || !errors.As(err, new(lost)) {
			soon = 0
		}
		s.tell(ctx, Link{Trouble: troubleOf(s.suspicious(err, soon)), At: s.cfg.Now()})
		if well {
			continue
		}
		if lasted > s.cfg.LastRetry { // it worked for a while
			pause = s.cfg.FirstRetry
		}
		s.wait(ctx, pause)
		pause = min(2*pause, s.cfg.LastRetry)
	}
	return nil
}

// rivalry is after how many connections in a row that were soon lost the likely
// cause is named.
const rivalry = 3

// suspicious adds the likely cause when a broker lets us in and throws us out
// again and again: it does so when a second client comes with the same id (MQTT
// 3.1.1, MQTT-3.1.4-2), and says nothing about it.
func (s *Source) suspicious(err error, soon int) error {
	if soon < rivalry {
		return err
	}
	return fmt.Errorf("%w (%d times in a row, each time soon after it let us in: another program may be using the client_id %q)", err, soon, s.cfg.ClientID)
}

// once makes one connection, to the first broker that answers, and stays until
// it is lost. Asked tells that Reconnect ended it.
func (s *Source) once(ctx context.Context) (asked bool, err error) {
	if len(s.cfg.URLs) == 0 {
		return false, errors.New("no broker is named")
	}
	var all []error
	for i, text := range s.cfg.URLs {
		u, err := url.Parse(text)
		if err != nil {
			all = append(all, unreadable(i, err))
			continue
		}
		ss, err := s.open(ctx, u)
		if err == nil {
			return ss.stay(ctx, s.again)
		}
		all = append(all, err)
	}
	return false, errors.Join(all...)
}

// sender stands for a broker. Where there are several, each numbers its packets.
func (s *Source) sender(host string) uint32 {
	if len(s.cfg.URLs) < 2 {
		return 0
	}
	return senderOf(host, 0)
}

// wait pauses between attempts; Reconnect ends the pause.
func (s *Source) wait(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-s.again:
	case <-ctx.Done():
	}
}

// tell hands over a link. It may wait: it is not called from a handler.
func (s *Source) tell(ctx context.Context, l Link) {
	select {
	case s.items <- Item{Link: &l}:
	case <-ctx.Done():
	}
}
