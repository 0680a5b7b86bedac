package ingest

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"binwatchd/internal/farm"
)

// How long things may take on a connection.
const (
	handshakeTime = 10 * time.Second
	subscribeTime = 20 * time.Second
	keepAlive     = 30 * time.Second
	watchTime     = 5 * time.Second // between looks whether the client still lives
	partingTime   = 250             // ms for the last packets to go out
)

// Why a connection is ended with a broker that is well.
var (
	errBehind = errors.New("too many messages wait to be written")
	errAsked  = errors.New("reconnecting") // by Reconnect
)

// A session is one connection of a Source.
type session struct {
	source *Source
	host   string
	client mqtt.Client
	conn   *brokerConn
	shaken func() bool // to be called after the handshake
	heard  []string    // filters subscribed to
	nonce  string      // of its marker: no other connection has it
	sender uint32      // of its deliveries
	began  time.Time
	lost   chan error // why the connection is gone; room for one

	mu      sync.Mutex // guards what follows, against the client's handler
	early   []*Delivery
	told    bool // the link has been told: deliveries may follow
	overrun bool // there was no room once: nothing more is handed over
	open    int  // messages handed over and not acknowledged
	dropped int  // QoS 0 messages without room
	back    bool // the marker has come back
}

// open connects and subscribes. The link is told before the first delivery,
// though the broker may send what it had queued before it answers anything.
func (s *Source) open(ctx context.Context, u *url.URL) (*session, error) {
	ss := &session{source: s, host: u.Host, nonce: rand.Text(), sender: s.sender(u.Host), began: s.cfg.Now(), lost: make(chan error, 1)}
	ss.client = mqtt.NewClient(s.options(ctx, u, ss))
	token := ss.client.Connect().(*mqtt.ConnectToken)
	<-token.Done() // bounded by the dial and the handshake
	if err := token.Error(); err != nil {
		return nil, fmt.Errorf("%s: %w", u.Host, s.why(ctx, u, err, ss.conn != nil))
	}
	ss.shaken()
	asking, cancel := context.WithTimeout(ctx, subscribeTime)
	defer cancel()
	l := Link{Up: true, Resumed: token.SessionPresent(), Sender: ss.sender}
	refused, err := ss.subscribe(asking)
	if err == nil {
		l.Backlog, err = ss.backlog(asking, l.Resumed)
	}
	if err != nil {
		ss.end()
		return nil, fmt.Errorf("%s: subscribe: %w", u.Host, err)
	}
	l.At = s.cfg.Now()
	if len(refused) > 0 {
		l.Trouble = u.Host + ": the broker refuses " + strings.Join(refused, ", ")
	}
	s.tell(ctx.Done(), l)
	ss.begin()
	if l.Backlog == farm.Marked { // whether it comes back is what counts: the answer says nothing
		ss.client.Publish(s.cfg.Marker, 1, false, ss.nonce)
	}
	return ss, nil
}

// options are as the library needs them for messages to be safe: a session
// that lasts unless a passing one is wanted, acknowledgement by hand, messages
// in order. Reconnecting is ours.
func (s *Source) options(ctx context.Context, u *url.URL, ss *session) *mqtt.ClientOptions {
	o := mqtt.NewClientOptions().
		SetClientID(s.cfg.ClientID).SetUsername(s.cfg.User).SetPassword(s.cfg.Password).
		SetProtocolVersion(4).SetCleanSession(s.cfg.Passing).
		SetOrderMatters(true).SetAutoAckDisabled(true).
		SetAutoReconnect(false).SetConnectRetry(false).SetStore(forgetful{}).
		SetKeepAlive(keepAlive).SetPingTimeout(handshakeTime).
		SetConnectTimeout(handshakeTime).SetWriteTimeout(writeTime).
		SetDefaultPublishHandler(ss.onMessage).
		SetConnectionLostHandler(func(_ mqtt.Client, err error) { ss.fail(err) }).
		SetCustomOpenConnectionFn(s.dialer(ctx, ss))
	o.Servers = []*url.URL{u}
	return o
}

// subscribe brings the connection to the filters in force and gives those that
// the broker refuses. A new connection asks for all of them, since a broker that
// lost its sessions looks no different; one that stands for those that are new,
// since subscribing replays stored values.
func (ss *session) subscribe(ctx context.Context) (refused []string, err error) {
	filters, left := ss.source.wanted()
	if refused, err = ss.ask(ctx, without(filters, ss.heard)); err != nil {
		return nil, err
	}
	if len(left) > 0 {
		if err := ss.answer(ctx, ss.client.Unsubscribe(left...)); err != nil {
			return nil, fmt.Errorf("leave %d topics: %w", len(left), err)
		}
		ss.source.unsubscribed(left)
	}
	if len(refused) > 0 {
		ss.source.cfg.Log.Warn("broker refuses topics", "broker", ss.host, "filters", refused)
	}
	ss.heard = filters
	return refused, nil
}

// ask asks to hear filters and gives those refused.
func (ss *session) ask(ctx context.Context, filters []string) (refused []string, err error) {
	if len(filters) == 0 {
		return nil, nil
	}
	want := map[string]byte{}
	for _, f := range filters {
		want[f] = 1
	}
	token := ss.client.SubscribeMultiple(want, nil).(*mqtt.SubscribeToken)
	if err := ss.answer(ctx, token); err != nil {
		return nil, err
	}
	for filter, code := range token.Result() {
		if code == 0x80 { // MQTT 3.1.1 §3.9.3: failure
			refused = append(refused, filter)
		}
	}
	slices.Sort(refused)
	return refused, nil
}

// answer waits for the broker's answer.
func (ss *session) answer(ctx context.Context, token mqtt.Token) error {
	select {
	case <-token.Done():
		return token.Error()
	case err := <-ss.lost:
		return err
	case <-ctx.Done():
		if errors.Is(ctx.Err(), context.DeadlineExceeded) {
			return fmt.Errorf("no answer after %s", subscribeTime)
		}
		return ctx.Err()
	}
}

// onMessage is the client's handler. It must not wait, or the client freezes.
func (ss *session) onMessage(_ mqtt.Client, m mqtt.Message) {
	d := &Delivery{
		Topic: m.Topic(), Payload: lookedAt(m.Payload()), QoS: m.Qos(), ID: m.MessageID(), Sender: ss.sender,
		Dup: m.Duplicate(), Retained: m.Retained(), Arrived: ss.source.cfg.Now(), Ack: ss.ack(m),
	}
	ss.mu.Lock()
	defer ss.mu.Unlock()
	d.Own, d.Caught = ss.marker(m)
	switch {
	case ss.told:
		ss.hand(d)
	case len(ss.early) < room:
		ss.early = append(ss.early, d)
	default:
		ss.full(d)
	}
}

// lookedAt is what is kept of a payload until it is acknowledged: of one that is refused
// for its size as much as shows that. A broker may send hundreds, of any size.
func lookedAt(payload []byte) []byte {
	if len(payload) > maxPayload {
		return bytes.Clone(payload[:maxPayload+1])
	}
	return payload
}

// ack makes the acknowledgement of a message. It does not hold on to that, which may be
// large.
func (ss *session) ack(m mqtt.Message) func() {
	var once sync.Once
	acknowledge, id := m.Ack, m.MessageID()
	switch m.Qos() {
	case 0:
		return func() {}
	case 1:
		acknowledge = func() { ss.conn.acknowledge(id) }
	default: // nobody asked for it
	}
	return func() {
		once.Do(func() {
			acknowledge()
			ss.acknowledged()
		})
	}
}

// acknowledged counts down what is open. A session that was overrun
// ends with the last of it.
func (ss *session) acknowledged() {
	ss.mu.Lock()
	defer ss.mu.Unlock()
	if ss.open--; ss.overrun && ss.open == 0 {
		ss.fail(errBehind)
	}
}

// begin hands over what came before the link was told, and lets the rest
// follow. If even that was too much, what there was room for goes first.
func (ss *session) begin() {
	ss.mu.Lock()
	defer ss.mu.Unlock()
	overrun := ss.overrun
	ss.told, ss.overrun = true, false
	if overrun {
		ss.early[len(ss.early)-1].Hurry = true // the rest comes only after it
	}
	for _, d := range ss.early {
		ss.hand(d)
	}
	ss.early = nil
	if overrun {
		ss.stopHearing()
	}
}

// hand gives a delivery to the caller, with mu held.
func (ss *session) hand(d *Delivery) {
	if ss.overrun {
		return
	}
	select {
	case ss.source.items <- Item{Delivery: d}:
		if d.QoS > 0 {
			ss.open++
		}
	default:
		ss.full(d)
	}
}

// full deals with a delivery there is no room for, with mu held. The broker
// keeps no QoS 0 message anyway. After any other nothing more of this
// connection is handed over: to skip one would be to acknowledge out of order.
func (ss *session) full(d *Delivery) {
	if d.QoS == 0 {
		ss.dropped++
		return
	}
	ss.stopHearing()
}

// stopHearing notes that the session is overrun, with mu held. It stays connected until
// all that was handed over is acknowledged: a broker without a limit of
// unacknowledged messages would otherwise send the very same ones for ever.
func (ss *session) stopHearing() {
	ss.overrun = true
	if ss.told && ss.open == 0 {
		ss.fail(errBehind)
	}
}

// fail notes why the connection is gone; the first reason counts.
func (ss *session) fail(err error) {
	select {
	case ss.lost <- err:
	default:
	}
}

// stay waits until the connection is lost, given up or not wanted any more.
func (ss *session) stay(ctx context.Context) error {
	defer ss.end()
	defer ss.marked()
	tick := time.NewTicker(watchTime)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-ss.source.again:
			return errAsked
		case <-ss.source.other:
			asking, cancel := context.WithTimeout(context.WithoutCancel(ctx), subscribeTime)
			if _, err := ss.subscribe(asking); err != nil {
				ss.fail(err) // a new connection subscribes to everything
			}
			cancel()
		case a := <-ss.source.says:
			ss.client.Publish(a.Topic, 1, false, a.Payload())
		case err := <-ss.lost:
			return lost{fmt.Errorf("%s: %w", ss.host, plainer(err))}
		case <-tick.C:
			if !ss.client.IsConnectionOpen() {
				ss.fail(errors.New("the connection is gone"))
			}
		}
	}
}

// A lost connection is one that the broker had accepted.
type lost struct{ error }

func (l lost) Unwrap() error { return l.error }

// end closes the connection. Later deliveries of it are not handed over.
func (ss *session) end() {
	ss.conn.send()
	ss.client.Disconnect(partingTime)
	ss.mu.Lock()
	defer ss.mu.Unlock()
	ss.overrun = true
	if ss.dropped > 0 {
		ss.source.cfg.Log.Warn("messages without room dropped", "messages", ss.dropped)
	}
}

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
func (ss *session) backlog(ctx context.Context, resumed bool) (farm.Backlog, error) {
	s := ss.source
	switch {
	case !resumed:
		return farm.NoBacklog, nil
	case s.cfg.Marker == "" || s.unmarked[ss.host] >= markersLost:
		return farm.Unmarked, nil
	}
	s.unmarked[ss.host]++ // until it has come back
	refused, err := ss.ask(ctx, []string{s.cfg.Marker})
	switch {
	case err != nil:
		return farm.Unmarked, fmt.Errorf("for the marker: %w", err)
	case len(refused) > 0:
		s.cfg.Log.Info("broker refuses the marker; the pace of the probes tells what is backlog", "broker", ss.host, "topic", s.cfg.Marker)
		return farm.Unmarked, nil
	}
	return farm.Marked, nil
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
