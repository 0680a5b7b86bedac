package ingest

import (
	"log/slog"
	"net"
	"sync"
	"time"

	"github.com/mochi-mqtt/server/v2/listeners"
)

// A gate lets connections in to the embedded broker and knows who is inside,
// so that all can be shown out before the broker closes. It is a listener in
// the broker's sense.
type gate struct {
	listener net.Listener

	mu     sync.Mutex
	inside map[*visitor]struct{}
	shut   chan struct{} // closed when nobody is let in any more
	all    sync.WaitGroup
}

func newGate(l net.Listener) *gate {
	return &gate{listener: l, inside: map[*visitor]struct{}{}, shut: make(chan struct{})}
}

// The broker asks these of a listener.
func (g *gate) ID() string                { return "probes" }
func (g *gate) Address() string           { return g.listener.Addr().String() }
func (g *gate) Protocol() string          { return "tcp" }
func (g *gate) Init(*slog.Logger) error   { return nil }
func (g *gate) Close(_ listeners.CloseFn) { g.close() }

// Serve lets connections in until the gate closes. Establish stays with a
// connection until it ends; why it ended is between the broker and the probe.
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
		go func() {
			defer g.leave(v)
			_ = establish(g.ID(), v)
		}()
	}
}

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

// enter notes a connection, unless the gate is closed or the house full. Until
// the probe has said who it is, it has little time.
func (g *gate) enter(c net.Conn) (*visitor, bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	select {
	case <-g.shut:
		return nil, false
	default:
	}
	if len(g.inside) >= mostProbes || c.SetReadDeadline(time.Now().Add(firstWordTime)) != nil {
		return nil, false
	}
	v := &visitor{bounded: bounded{c}, gone: make(chan struct{})}
	g.inside[v] = struct{}{}
	g.all.Add(1)
	return v, true
}

func (g *gate) leave(v *visitor) {
	v.Close()
	g.mu.Lock()
	delete(g.inside, v)
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

// A visitor is one connection of a probe; gone is closed when it ends.
type visitor struct {
	bounded
	once sync.Once
	gone chan struct{}
}

// Close ends the connection; whoever waits with it learns of it.
func (v *visitor) Close() (err error) {
	v.once.Do(func() {
		close(v.gone)
		err = v.bounded.Close()
	})
	return err
}
