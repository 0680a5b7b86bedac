package ingest

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"slices"
	"sync"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"golang.org/x/sync/semaphore"

	"binwatchd/internal/backoff"
)

// Bounds of what all connections together may ask of the listener.
const (
	mostStrangers = 512     // connections that have not been accepted yet
	mostProbes    = 1024    // connections that have
	mostOnTheWay  = 4 << 20 // bytes of packets that are not small
)

// A connLimit lets connections in to the embedded broker and knows who is inside,
// so that all can be shown out before the broker closes. It is a listener in
// the broker's sense.
//
// Who has not shown a password yet is a stranger, and there is room for so many.
// When it is full the one that has been silent longest goes, so that no number of
// idle connections keeps a probe out: a probe says CONNECT at once. Addresses
// count for nothing, for many probes may come through one gateway.
type connLimit struct {
	listener net.Listener
	refusals *refusals
	shared   *semaphore.Weighted // bytes of large packets
	open     context.Context     // ends when nobody is let in any more
	shut     func()

	mu        sync.Mutex
	inside    map[*probeConn]struct{}
	strangers []*probeConn // those inside that are, the oldest first
	all       sync.WaitGroup
}

func newConnLimit(l net.Listener, r *refusals) *connLimit {
	open, shut := context.WithCancel(context.Background())
	return &connLimit{
		listener: l, refusals: r, shared: semaphore.NewWeighted(mostOnTheWay), open: open, shut: shut, inside: map[*probeConn]struct{}{},
	}
}

// The broker asks these of a listener.
func (l *connLimit) ID() string                { return "probes" }
func (l *connLimit) Address() string           { return l.listener.Addr().String() }
func (l *connLimit) Protocol() string          { return "tcp" }
func (l *connLimit) Init(*slog.Logger) error   { return nil }
func (l *connLimit) Close(_ listeners.CloseFn) { l.close() }

// Serve lets connections in until the limit is closed.
func (l *connLimit) Serve(establish listeners.EstablishFn) {
	for {
		c, err := l.listener.Accept()
		switch {
		case err != nil && !backoff.Pause(l.open, 100*time.Millisecond): // out of file handles, say, if it is not closed
			return
		case err != nil:
			continue
		}
		if v := l.enter(c); v != nil {
			go l.receive(v, establish)
		} else {
			c.Close()
		}
	}
}

// receive stays with a connection until it ends. Why one ended that had said
// CONNECT is between the broker and the probe, but for what is refused here.
func (l *connLimit) receive(v *probeConn, establish listeners.EstablishFn) {
	defer l.leave(v)
	err := v.greet()
	if err == nil {
		if err = establish(l.ID(), v); errors.As(err, new(tooMuch)) {
			l.refusals.note("probes cut off: too much at once", "from", v.RemoteAddr().String(), "reason", err)
		}
		return
	}
	if !errors.Is(err, io.EOF) && !errors.Is(err, net.ErrClosed) { // it did not go by itself, nor was it shown out
		l.refusals.note(unintroduced, "from", v.RemoteAddr().String(), "reason", err)
	}
}

const unintroduced = "connections ended that had not said who they are"

// enter notes a connection; nil when nobody is let in any more.
func (l *connLimit) enter(c net.Conn) *probeConn {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.open.Err() != nil {
		return nil
	}
	v := newProbeConn(c, l.shared)
	l.inside[v] = struct{}{}
	l.all.Add(1)
	if l.strangers = append(l.strangers, v); len(l.strangers) > mostStrangers {
		l.refusals.note(unintroduced, "from", l.strangers[0].RemoteAddr().String(), "reason", "others came and there was no room")
		l.strangers[0].Close()
		l.strangers = slices.Delete(l.strangers, 0, 1)
	}
	return v
}

// known notes that a connection is no stranger any more.
func (l *connLimit) known(v *probeConn) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if i := slices.Index(l.strangers, v); i >= 0 {
		l.strangers = slices.Delete(l.strangers, i, i+1)
	}
}

func (l *connLimit) leave(v *probeConn) {
	v.Close()
	v.giveBack()
	l.known(v)
	l.mu.Lock()
	delete(l.inside, v)
	l.mu.Unlock()
	l.all.Done()
}

// clear ends all connections; new ones are let in.
func (l *connLimit) clear() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for v := range l.inside {
		v.Close()
	}
}

// close lets nobody in any more, ends all connections and waits until they
// have. It may be called twice.
func (l *connLimit) close() {
	l.mu.Lock()
	l.shut()
	l.listener.Close()
	l.mu.Unlock()
	l.clear()
	l.all.Wait()
}

// Bounds of what one connection may ask of the listener.
const (
	greetingBytes = 4 << 10          // all of CONNECT: client id, user, password and a last wish
	greetingTime  = 5 * time.Second  // until all of CONNECT is there
	smallPacket   = 4 << 10          // bytes; a packet up to this size needs no leave
	largestPacket = 2 << 20          // bytes; a payload over 64 KiB is refused later, with a word
	packetTime    = 30 * time.Second // for a packet that is not small to be let in, and again to arrive
	readAheadOf   = 512              // bytes read from the network at a time
)

// A probeConn is one connection of a probe or of the keeper. It hands the
// embedded broker one packet at a time, because that sets aside as many bytes as
// a packet announces, whether they ever come or not: what is announced is
// looked at here first. It is read from one goroutine.
type probeConn struct {
	timedConn
	in     *bufio.Reader
	shared *semaphore.Weighted
	hello  []byte // of CONNECT, not yet handed on
	left   int    // bytes of the packet that is being handed on
	held   int64  // bytes of shared, for it
	keeper bool   // has shown the keeper's password
	person Login  // as who of the people it has come in; zero: as none
	nonce  uint64 // tells this connection from all others

	life context.Context // of the connection
	end  func()
}

func newProbeConn(c net.Conn, shared *semaphore.Weighted) *probeConn {
	life, end := context.WithCancel(context.Background())
	return &probeConn{timedConn: timedConn{c}, in: bufio.NewReaderSize(c, readAheadOf), shared: shared, nonce: rand.Uint64(), life: life, end: end}
}

// sender stands for a client and its session, for a client numbers its packets
// within that. One that asks for a clean session begins a new one with each
// connection (MQTT 3.1.1, §3.1.2.4); any other goes on with the one it had, also
// when we were away.
func (v *probeConn) sender(cl *mqtt.Client) uint32 {
	if cl.Properties.Clean {
		return senderOf(cl.ID, v.nonce)
	}
	return senderOf(cl.ID, 0)
}

// senderOf stands for who numbers packets; it is never 0.
func senderOf(name string, session uint64) uint32 {
	h := fnv.New32a()
	fmt.Fprintf(h, "%q %d", name, session)
	return max(1, h.Sum32())
}

// greet reads CONNECT (MQTT 3.1.1, §3.1). Until it is there, nothing of the
// embedded broker's is set up for this connection.
func (v *probeConn) greet() error {
	if err := v.SetDeadline(time.Now().Add(greetingTime)); err != nil {
		return err
	}
	kind, size, err := announced(v.in)
	switch {
	case err != nil:
		return err
	case kind != 0x10:
		return fmt.Errorf("it begins with the byte %#02x, which is not MQTT's CONNECT", kind)
	case size > greetingBytes:
		return fmt.Errorf("its CONNECT has %d bytes, the most is %d", size, greetingBytes)
	}
	v.hello = make([]byte, size)
	_, err = io.ReadFull(v.in, v.hello)
	return err
}

// Read hands on no more than the rest of one packet. So when the next one is
// asked for, the broker is done with the one before.
func (v *probeConn) Read(p []byte) (int, error) {
	if len(v.hello) > 0 {
		n := copy(p, v.hello)
		v.hello = v.hello[n:]
		return n, nil
	}
	if v.left == 0 {
		if err := v.next(); err != nil {
			return 0, err
		}
	}
	n, err := v.in.Read(p[:min(len(p), v.left)])
	v.left -= n
	return n, err
}

// next waits for the next packet, and for leave to take it in.
func (v *probeConn) next() error {
	v.giveBack()
	_, size, err := announced(v.in)
	switch {
	case err != nil:
		return err
	case size > largestPacket:
		return tooMuch(fmt.Sprintf("a packet of %d bytes, the most is %d", size, largestPacket))
	case size > smallPacket:
		wait, cancel := context.WithTimeout(v.life, packetTime)
		defer cancel()
		if v.shared.Acquire(wait, int64(size)) != nil {
			return tooMuch("too many large packets were on their way")
		}
		v.held = int64(size)
		if err := v.SetReadDeadline(time.Now().Add(packetTime)); err != nil {
			return err
		}
	}
	v.left = size
	return nil
}

// A tooMuch is why a connection was ended that had been accepted.
type tooMuch string

func (e tooMuch) Error() string { return string(e) }

// giveBack returns what was taken for the packet before.
func (v *probeConn) giveBack() {
	v.shared.Release(v.held)
	v.held = 0
}

// Close ends the connection; whoever waits with it learns of it.
func (v *probeConn) Close() error {
	v.end()
	return v.timedConn.Close()
}

// announced tells the kind of the packet that comes next and its size in
// bytes, fixed header included, and takes nothing (MQTT 3.1.1, §2.2).
func announced(in *bufio.Reader) (kind byte, size int, err error) {
	for i, rest := 1, 0; i <= 4; i++ {
		head, err := in.Peek(i + 1)
		if err != nil {
			return 0, 0, err
		}
		rest |= int(head[i]&0x7f) << (7 * (i - 1))
		if head[i] < 0x80 {
			return head[0], 1 + i + rest, nil
		}
	}
	return 0, 0, errors.New("a packet's length has more than four bytes")
}
