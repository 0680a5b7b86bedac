package ingest

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"

	"binwatchd/internal/loopback"
)

// Settings of the embedded broker.
const (
	sessionTime    = 3600    // s: how long the session of a probe that is away is kept
	writesPending  = 8       // messages to one client, which gets none
	sysTopicPeriod = 1 << 30 // s: the broker's own topics are of no use here
)

// A ListenerConfig says where probes may publish, what, and as whom.
type ListenerConfig struct {
	Address string   // host:port; port 0 takes a free one
	Login   Login    // of the probes; zero: anybody who can reach it
	Keeper  Login    // who alone may jot, hush and say seen; zero: on loopback anybody may, else nobody
	People  []Login  // who may too, each under their own name
	Topics  []string // that probes may publish: names and filters
	Prefix  string   // of jots, hushes and seens
	TLS     *tls.Config
	Log     *slog.Logger
	Now     func() time.Time
}

// A Listener is the broker the probes publish to, where there is no other. It
// lets nobody subscribe but who may jot, to the answers; it keeps nothing, takes only what somebody wants to hear,
// and answers a QoS 1 message only when its Delivery is acknowledged, that is,
// when it is on disk. Until then the probe waits, so such deliveries are marked
// Hurry.
//
// Its links say that the session was resumed: the packet ids are the probes'
// own and outlive us.
type Listener struct {
	outlet
	cfg      ListenerConfig
	server   *mqtt.Server
	conns    *connLimit
	refusals *refusals
	done     <-chan struct{} // of the context of Run

	topics  atomic.Pointer[[]string]
	people  atomic.Pointer[[]Login]
	refused atomic.Int64
	mu      sync.RWMutex // held for reading while a delivery is handed over
}

// Listen binds at once, so that an address in use is an error here. Probes are
// let in when Run begins.
func Listen(c ListenerConfig) (*Listener, error) {
	l, err := net.Listen("tcp", c.Address)
	if err != nil {
		return nil, fmt.Errorf("listen for probes: %w", err)
	}
	if c.TLS != nil {
		l = tls.NewListener(l, c.TLS)
	}
	r := newRefusals(c.Log, c.Now)
	heard := &Listener{cfg: c, conns: newConnLimit(l, r), refusals: r, outlet: newOutlet(0)}
	heard.Hear(c.Topics)
	heard.Admit(c.People)
	return heard, nil
}

// Close frees the address of a listener whose Run was never called; afterwards,
// and for one that has run, it does nothing.
func (l *Listener) Close() {
	if !l.ran.Swap(true) {
		l.conns.close()
	}
}

// Addr is the address it listens on.
func (l *Listener) Addr() net.Addr { return l.conns.listener.Addr() }

// Run lets probes in until the context ends, and then shows all of them out.
// It can be used once.
func (l *Listener) Run(ctx context.Context) error {
	if l.ran.Swap(true) {
		return errors.New("run listener: it has run before")
	}
	defer close(l.items)
	l.done = ctx.Done()
	if err := l.serve(); err != nil {
		l.conns.close()
		return fmt.Errorf("run listener: %w", err)
	}
	l.tell(l.done, Link{Up: true, Resumed: true, At: l.cfg.Now()})
	for {
		select {
		case <-l.done:
			return l.shut()
		case <-l.again:
			l.readmit()
		}
	}
}

func (l *Listener) serve() error {
	capabilities := mqtt.NewDefaultServerCapabilities()
	capabilities.MaximumPacketSize = largestPacket
	capabilities.MaximumClients = mostProbes
	capabilities.MaximumClientWritesPending = writesPending
	capabilities.MaximumSessionExpiryInterval = sessionTime
	capabilities.TopicAliasMaximum = 0
	l.server = mqtt.New(&mqtt.Options{
		Capabilities:           capabilities,
		SysTopicResendInterval: sysTopicPeriod,
		InlineClient:           true,                          // for answers
		Logger:                 slog.New(slog.DiscardHandler), // it logs whole packets, passwords among them
	})
	if err := l.server.AddHook(&hook{listener: l}, nil); err != nil {
		return err
	}
	if err := l.server.AddListener(l.conns); err != nil {
		return err
	}
	return l.server.Serve()
}

// shut ends in an order that the broker bears: its Close races with a
// connection that is being set up, so first nobody new is let in and all
// connections end; who waits for an answer goes without one.
func (l *Listener) shut() error {
	l.conns.close()
	return l.server.Close()
}

// readmit ends all connections, first so that nobody goes on waiting to hand
// something over, and then while nobody does: what comes after the links comes
// from new connections.
func (l *Listener) readmit() {
	l.conns.clear()
	l.mu.Lock()
	defer l.mu.Unlock()
	l.conns.clear()
	l.tell(l.done, Link{Trouble: "reconnecting", At: l.cfg.Now()})
	l.tell(l.done, Link{Up: true, Resumed: true, At: l.cfg.Now()})
}

// Hear changes the topics that probes may publish. It does not wait.
func (l *Listener) Hear(topics []string) {
	topics = slices.Clone(topics)
	l.topics.Store(&topics)
}

// Admit changes the people who may jot under their own names.
func (l *Listener) Admit(people []Login) { l.people.Store(&people) }

// Refused is how many messages were dropped because their sender may not
// publish them.
func (l *Listener) Refused() int64 { return l.refused.Load() }

// may tells whether a connection may publish under a topic, and notes it if not.
func (l *Listener) may(v *probeConn, topic string) bool {
	why := ""
	switch {
	case isCommand(l.cfg.Prefix, topic):
		if !l.mayCommand(v) {
			why = "jots, hushes and seens dropped: they need the user of broker.keeper"
		}
	case !slices.ContainsFunc(*l.topics.Load(), func(filter string) bool { return matches(filter, topic) }):
		why = "messages dropped: no probe has their topic"
	}
	if why == "" {
		return true
	}
	l.refused.Add(1)
	l.refusals.note(why, "topic", quote([]byte(topic)), "from", v.RemoteAddr().String())
	return false
}

// mayCommand tells whether a connection may write in the logbook. Where there is no
// user for that, who is on this machine may: such a one could do worse.
func (l *Listener) mayCommand(v *probeConn) bool {
	switch {
	case v.person.asked():
		return slices.Contains(*l.people.Load(), v.person)
	case l.cfg.Keeper.asked():
		return v.keeper
	}
	host, _, err := net.SplitHostPort(l.Addr().String())
	return err == nil && loopback.Is(host)
}

// Answer tells the sender of a jot what has become of it, if it listens. Before it serves
// nobody can: a past is lived through.
func (l *Listener) Answer(a *Answer) {
	if l.server == nil {
		return
	}
	if err := l.server.Publish(a.Topic, a.Payload(), false, 1); err != nil {
		l.cfg.Log.Warn("answer to a jot not sent", "topic", a.Topic, "error", err)
	}
}

// isAnswer tells whether a filter asks for answers to jots and for nothing else.
func isAnswer(prefix, filter string) bool {
	return strings.HasPrefix(filter, strings.TrimSuffix(prefix, "/")+"/"+answerTopic+"/")
}

// isCommand tells whether a topic is one of jots, hushes and seens.
func isCommand(prefix, topic string) bool {
	return slices.ContainsFunc(commandFilters(strings.TrimSuffix(prefix, "/")+"/"), func(filter string) bool { return matches(filter, topic) })
}

// refusalsEvery is how often one kind of refusal is logged: a probe with a
// wrong password tries for ever.
const refusalsEvery = time.Minute

// refusals say in the log what a listener has turned away, with how often since
// it was last said and the newest as an example.
type refusals struct {
	log *slog.Logger
	now func() time.Time

	mu    sync.Mutex
	kinds map[string]refusal
}

type refusal struct {
	times  int       // since it was last said
	saidAt time.Time // when that was
}

func newRefusals(log *slog.Logger, now func() time.Time) *refusals {
	return &refusals{log: log, now: now, kinds: map[string]refusal{}}
}

// note counts one refusal; what is one of a few fixed texts.
func (r *refusals) note(what string, example ...any) {
	r.mu.Lock()
	defer r.mu.Unlock()
	k, now := r.kinds[what], r.now()
	k.times++
	if now.Sub(k.saidAt) >= refusalsEvery || now.Before(k.saidAt) {
		r.log.Warn(what, append([]any{"times", k.times}, example...)...)
		k = refusal{saidAt: now}
	}
	r.kinds[what] = k
}
