package ingest

import (
	"errors"
	"io"
	"log/slog"
	"net"
	"slices"
	"sync"
	"time"

	"github.com/mochi-mqtt/server/v2/listeners"
)

// Bounds of what all connections together may ask of the listener.
const (
	mostStrangers = 512     // connections that have not been accepted yet
	mostProbes    = 1024    // connections that have
	mostOnTheWay  = 4 << 20 // bytes of packets that are not small
)

// A gate lets connections in to the embedded broker and knows who is inside,
// so that all can be shown out before the broker closes. It is a listener in
// the broker's sense.
//
// Who has not shown a password yet is a stranger, and there is room for so many.
// When it is full the one that has been silent longest goes, so that no number of
// idle connections keeps a probe out: a probe says CONNECT at once. Addresses
// count for nothing, for many probes may come through one gateway.
type gate struct {
	listener net.Listener
	refusals *refusals
	shared   *allowance

	mu        sync.Mutex
	inside    map[*visitor]struct{}
	strangers []*visitor    // those inside that are, the oldest first
	shut      chan struct{} // closed when nobody is let in any more
	all       sync.WaitGroup
}

func newGate(l net.Listener, r *refusals) *gate {
	return &gate{listener: l, refusals: r, shared: newAllowance(mostOnTheWay), inside: map[*visitor]struct{}{}, shut: make(chan struct{})}
}

// The broker asks these of a listener.
func (g *gate) ID() string                { return "probes" }
func (g *gate) Address() string           { return g.listener.Addr().String() }
func (g *gate) Protocol() string          { return "tcp" }
func (g *gate) Init(*slog.Logger) error   { return nil }
func (g *gate) Close(_ listeners.CloseFn) { g.close() }

// Serve lets connections in until the gate closes.
func (g *gate) Serve(establish listeners.EstablishFn) {
	for {
		c, err := g.listener.Accept()
		switch {
		case err != nil && g.closed(100*time.Millisecond): // out of file handles, say, if it is not
			return
		case err != nil:
			continue
		}
		v, ok := g.enter(c)
		if !ok {
			c.Close()
			continue
		}
		go g.receive(v, establish)
	}
}

// receive stays with a connection until it ends. Why one ended that had said
// CONNECT is between the broker and the probe, but for what is refused here.
func (g *gate) receive(v *visitor, establish listeners.EstablishFn) {
	defer g.leave(v)
	err := v.greet()
	if err == nil {
		if err = establish(g.ID(), v); errors.As(err, new(tooMuch)) {
			g.refusals.note("probes cut off: too much at once", "from", v.RemoteAddr().String(), "reason", err)
		}
		return
	}
	if !errors.Is(err, io.EOF) && !errors.Is(err, net.ErrClosed) { // it did not go by itself, nor was it shown out
		g.refusals.note(unintroduced, "from", v.RemoteAddr().String(), "reason", err)
	}
}

const unintroduced = "connections ended that had not said who they are"

// closed tells, at the latest after a while, whether the gate is closed.
func (g *gate) closed(while time.Duration) bool {
	timer := time.NewTimer(while)
	defer timer.Stop()
	select {
	case <-g.shut:
		return true
	case <-timer.C:
		return false
	}
}

// enter notes a connection, unless the gate is closed.
func (g *gate) enter(c net.Conn) (*visitor, bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	select {
	case <-g.shut:
		return nil, false
	default:
	}
	v := newVisitor(c, g.shared)
	g.inside[v] = struct{}{}
	g.all.Add(1)
	if g.strangers = append(g.strangers, v); len(g.strangers) > mostStrangers {
		g.refusals.note(unintroduced, "from", g.strangers[0].RemoteAddr().String(), "reason", "others came and there was no room")
		g.strangers[0].Close()
		g.strangers = slices.Delete(g.strangers, 0, 1)
	}
	return v, true
}

// known notes that a connection has been accepted.
func (g *gate) known(v *visitor) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.noStranger(v)
}

// noStranger takes a visitor out of the strangers, with mu held.
func (g *gate) noStranger(v *visitor) {
	if i := slices.Index(g.strangers, v); i >= 0 {
		g.strangers = slices.Delete(g.strangers, i, i+1)
	}
}

func (g *gate) leave(v *visitor) {
	v.Close()
	v.giveBack()
	g.mu.Lock()
	delete(g.inside, v)
	g.noStranger(v)
	g.mu.Unlock()
	g.all.Done()
}

// clear ends all connections; new ones are let in.
func (g *gate) clear() {
	g.mu.Lock()
	defer g.mu.Unlock()
	for v := range g.inside {
		v.Close()
	}
}

// close lets nobody in any more, ends all connections and waits until they
// have. It may be called twice.
func (g *gate) close() {
	g.mu.Lock()
	select {
	case <-g.shut:
	default:
		close(g.shut)
		g.listener.Close()
	}
	g.mu.Unlock()
	g.clear()
	g.all.Wait()
}
