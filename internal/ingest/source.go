package ingest

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"

	"binwatchd/internal/backoff"
)

// room is how many items may wait for the caller. It is far over the number
// of unacknowledged messages that any broker sends (20 by default).
const room = 4096

// A SourceConfig says which broker to hear and as whom: what the keeper says of it,
// and what was read for it.
type SourceConfig struct {
	BrokerSettings
	Password string      // revealed; stands before the settings' own, which says where it lies
	TLS      *tls.Config // for tls:// URLs, made of the settings' files; nil trusts the system's authorities
	Filters  []string    // topic filters to subscribe to, with QoS 1
	Marker   string      // topic of the markers, see MarkerTopic; "": none are sent
	Log      *slog.Logger
	Now      func() time.Time

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
	outlet
	cfg   SourceConfig
	other chan struct{} // the filters are others now
	says  chan *Answer  // to be published

	unmarked map[string]int // broker → connections in a row whose marker has not come back; Run's own

	mu      sync.Mutex
	filters []string // in force
	left    []string // the broker may still hold, though they are not wanted
}

// NewSource makes a source. Nothing happens until Run.
func NewSource(c SourceConfig) *Source {
	c.FirstRetry = cmp.Or(c.FirstRetry, time.Second)
	c.LastRetry = cmp.Or(c.LastRetry, time.Minute)
	c.LongestHold = cmp.Or(c.LongestHold, holdTime)
	return &Source{outlet: newOutlet(room), cfg: c, other: make(chan struct{}, 1), says: make(chan *Answer, answersWaiting), unmarked: map[string]int{}, filters: slices.Clone(c.Filters)}
}

// Run keeps a connection until the context ends, and then disconnects. Trouble
// with the broker is told by a Link and tried again, first after a second and
// then ever more slowly. Run can be used once.
func (s *Source) Run(ctx context.Context) error {
	if s.ran.Swap(true) {
		return errors.New("run source: it has run before")
	}
	defer close(s.items)
	retry, failures, soon := backoff.Doubling{First: s.cfg.FirstRetry, Most: s.cfg.LastRetry}, 0, 0
	for ctx.Err() == nil {
		began := s.cfg.Now()
		err := s.once(ctx)
		if ctx.Err() != nil {
			return nil
		}
		well, lasted := errors.Is(err, errAsked) || errors.Is(err, errBehind), s.cfg.Now().Sub(began) // the broker is well
		if soon++; well || lasted > s.cfg.LastRetry || !errors.As(err, new(lost)) {
			soon = 0
		}
		s.tell(ctx.Done(), Link{Trouble: s.suspicious(err, soon).Error(), At: s.cfg.Now()})
		if well {
			continue
		}
		if failures++; lasted > s.cfg.LastRetry { // it worked for a while
			failures = 1
		}
		s.wait(ctx, retry.After(failures))
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
// it is lost.
func (s *Source) once(ctx context.Context) error {
	if len(s.cfg.Addresses()) == 0 {
		return errors.New("no broker is named")
	}
	var all []error
	for i, text := range s.cfg.Addresses() {
		u, err := url.Parse(text)
		if err != nil {
			all = append(all, unreadable(i, err))
			continue
		}
		ss, err := s.open(ctx, u)
		if err == nil {
			return ss.stay(ctx)
		}
		all = append(all, err)
	}
	return errors.Join(all...)
}

// sender stands for a broker. Where there are several, each numbers its packets.
func (s *Source) sender(host string) uint32 {
	if len(s.cfg.Addresses()) < 2 {
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

// Hear changes the topic filters, also of the connection that stands: after a
// reload the session goes on, new topics are heard and old ones no more. It
// does not wait. What a broker that is away still holds of the old ones is
// left at the next connect.
func (s *Source) Hear(filters []string) {
	s.mu.Lock()
	s.left = without(append(without(s.left, s.filters), s.filters...), filters)
	s.filters = slices.Clone(filters)
	s.mu.Unlock()
	wake(s.other)
}

// answersWaiting is how many answers wait at most for a broker that is slow or away.
const answersWaiting = 64

// Answer tells the sender of a jot what has become of it, on a topic of its own. It
// does not wait: where a broker has been away for long the answer is lost, and the log
// alone tells.
func (s *Source) Answer(a *Answer) {
	select {
	case s.says <- a:
	default:
	}
}

// wanted gives the filters in force and those to be left.
func (s *Source) wanted() (filters, left []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.filters), slices.Clone(s.left)
}

// unsubscribed notes that the broker holds these filters no more.
func (s *Source) unsubscribed(left []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.left = without(s.left, left)
}

// without gives the filters that are not among others.
func without(filters, others []string) []string {
	return slices.DeleteFunc(slices.Clone(filters), func(f string) bool { return slices.Contains(others, f) })
}

// writeTime is how long one packet may take to go out. The client library
// bounds only what it publishes, so an acknowledgement to a broker that has
// stopped reading would wait for the kernel to give up, a quarter of an hour.
const writeTime = 10 * time.Second

// dialer opens connections for the client library, so that stopping ends a
// dial and a handshake, and so that no write lasts for ever. Once the broker
// has answered, ss.shaken lets the connection outlive the context, for a
// parting word.
func (s *Source) dialer(ctx context.Context, ss *session) mqtt.OpenConnectionFunc {
	return func(u *url.URL, _ mqtt.ClientOptions) (net.Conn, error) {
		dialing, cancel := context.WithTimeout(ctx, handshakeTime)
		defer cancel()
		c, err := s.dial(dialing, u)
		if err != nil {
			return nil, err
		}
		ss.shaken = context.AfterFunc(ctx, func() { c.Close() })
		ss.conn = newBrokerConn(c, ss.hold, ss.fail)
		return ss.conn, nil
	}
}

func (s *Source) dial(ctx context.Context, u *url.URL) (net.Conn, error) {
	plain := &net.Dialer{Timeout: handshakeTime, KeepAlive: keepAlive}
	switch u.Scheme {
	case "tcp", "mqtt":
		return plain.DialContext(ctx, "tcp", withPort(u, "1883"))
	case "tls", "ssl", "mqtts":
		secure := &tls.Dialer{NetDialer: plain, Config: s.cfg.TLS}
		return secure.DialContext(ctx, "tcp", withPort(u, "8883"))
	}
	return nil, fmt.Errorf("a broker is reached by tcp:// (mostly port 1883) or tls:// (mostly 8883), not %s://", u.Scheme)
}

// withPort gives the address in a URL, with the usual port if it names none.
func withPort(u *url.URL, usual string) string {
	if u.Port() != "" {
		return u.Host
	}
	return net.JoinHostPort(u.Hostname(), usual)
}

// timedConn is a connection on which no write lasts longer than writeTime.
type timedConn struct{ net.Conn }

func (c timedConn) Write(p []byte) (int, error) {
	if err := c.SetWriteDeadline(time.Now().Add(writeTime)); err != nil {
		return 0, err
	}
	return c.Conn.Write(p)
}

// unreadable tells of a URL that can't be read without quoting it: it may hold
// a password.
func unreadable(i int, err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		err = u.Err
	}
	return fmt.Errorf("broker url %d: %w", i+1, err)
}

// plainer turns the library's words for a lost connection into the reason.
func plainer(err error) error {
	var op *net.OpError
	if errors.As(err, &op) {
		return op
	}
	if said, ok := strings.CutPrefix(err.Error(), packets.ErrorNetworkError.Error()+" : "); ok {
		return errors.New(said)
	}
	return err
}
