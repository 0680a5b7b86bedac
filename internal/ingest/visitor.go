package ingest

import (
	"bufio"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"math/rand/v2"
	"net"
	"sync"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
)

// Bounds of what one connection may ask of the listener.
const (
	greetingBytes = 4 << 10          // all of CONNECT: client id, user, password and a last wish
	greetingTime  = 5 * time.Second  // until all of CONNECT is there
	smallPacket   = 4 << 10          // bytes; a packet up to this size needs no leave
	largestPacket = 2 << 20          // bytes; a payload over 64 KiB is refused later, with a word
	packetTime    = 30 * time.Second // for a packet that is not small to be let in, and again to arrive
	readAheadOf   = 512              // bytes read from the network at a time
)

// A visitor is one connection of a probe or of the keeper. It hands the
// embedded broker one packet at a time, because that sets aside as many bytes as
// a packet announces, whether they ever come or not: what is announced is
// looked at here first. It is read from one goroutine.
type visitor struct {
	bounded
	in     *bufio.Reader
	shared *allowance
	hello  []byte // of CONNECT, not yet handed on
	left   int    // bytes of the packet that is being handed on
	held   int    // taken from the allowance for it
	keeper bool   // has shown the keeper's password
	nonce  uint64 // tells this connection from all others

	once sync.Once
	gone chan struct{} // closed when the connection ends
}

func newVisitor(c net.Conn, shared *allowance) *visitor {
	return &visitor{bounded: bounded{c}, in: bufio.NewReaderSize(c, readAheadOf), shared: shared, nonce: rand.Uint64(), gone: make(chan struct{})}
}

// sender stands for a client and its session, for a client numbers its packets
// within that. One that asks for a clean session begins a new one with each
// connection (MQTT 3.1.1, §3.1.2.4); any other goes on with the one it had, also
// when we were away.
func (v *visitor) sender(cl *mqtt.Client) uint32 {
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
func (v *visitor) greet() error {
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
func (v *visitor) Read(p []byte) (int, error) {
	if v.hello != nil {
		n := copy(p, v.hello)
		if v.hello = v.hello[n:]; len(v.hello) == 0 {
			v.hello = nil
		}
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
func (v *visitor) next() error {
	v.giveBack()
	_, size, err := announced(v.in)
	switch {
	case err != nil:
		return err
	case size > largestPacket:
		return tooMuch(fmt.Sprintf("a packet of %d bytes, the most is %d", size, largestPacket))
	case size > smallPacket:
		if !v.shared.take(size, v.gone, packetTime) {
			return tooMuch("too many large packets were on their way")
		}
		v.held = size
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
func (v *visitor) giveBack() {
	v.shared.give(v.held)
	v.held = 0
}

// Close ends the connection; whoever waits with it learns of it.
func (v *visitor) Close() (err error) {
	v.once.Do(func() {
		close(v.gone)
		err = v.bounded.Close()
	})
	return err
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
