package ingest

import (
	"bufio"
	"errors"
	"net"
	"sync"
	"sync/atomic"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

const (
	// readAhead is read from the network at a time: far fewer messages than room is
	// kept for, however small they are.
	readAhead = 8 << 10
	holdTime  = 20 * time.Second // longest that reading waits for room; under keepAlive
	holdLook  = time.Millisecond // between looks whether there is room
)

// A brokerConn is the connection of a session. It makes up for what the client
// library takes long over: that reads byte by byte, three system calls a
// message, and sends acknowledgements one by one. It reads ahead, and sends
// in one piece all acknowledgements that have come up while the piece before
// went out.
//
// That is why PUBACK is written by hand here. Intake has to keep 0.9 of what a
// bare subscriber takes (BenchmarkIntake). With the library's own acknowledgements
// three runs on a busy machine gave 0.63, 0.34 and 0.44 of it at 200 messages in
// flight, with these 0.83, 1.29 and 0.39 in turns with them.
type brokerConn struct {
	timedConn
	in   *bufio.Reader
	met  atomic.Bool // the broker has said something
	hold func()      // waits for room
	fail func(error) // is told of a connection that takes no acknowledgement
	wake chan struct{}
	gone chan struct{} // closed by Close
	shut func()

	mu      sync.Mutex // held while sending, so that pieces keep their order
	owing   sync.Mutex // guards owed
	owed    []byte     // acknowledgements not yet sent
	sending []byte     // the piece before: the two take turns
}

func newBrokerConn(c net.Conn, hold func(), fail func(error)) *brokerConn {
	w := &brokerConn{
		timedConn: timedConn{c}, in: bufio.NewReaderSize(c, readAhead), hold: hold, fail: fail,
		wake: make(chan struct{}, 1), gone: make(chan struct{}),
	}
	w.shut = sync.OnceFunc(func() { close(w.gone) })
	go w.answer()
	return w
}

func (w *brokerConn) Read(p []byte) (int, error) {
	if w.in.Buffered() == 0 {
		w.hold()
	}
	if !w.met.Load() {
		if answer, err := w.in.Peek(4); err == nil && answer[0] == packets.Connack<<4 && answer[3] >= 0x80 { // a reason code (MQTT 5, §3.2.2.2): the library would take it for welcome
			return 0, errNewer
		}
	}
	n, err := w.in.Read(p)
	if n > 0 {
		w.met.Store(true)
	}
	return n, err
}

// Write sends, and if that fails before the broker has said anything, gives the
// broker's reason where there is one. With TLS 1.3 our side of the handshake is
// over before the broker has looked at our certificate (RFC 8446, §2), so a
// broker that refuses it hangs up on what we say first, and its alert is there to
// be read, but the client library does not read after a write that failed.
func (w *brokerConn) Write(p []byte) (int, error) {
	n, err := w.timedConn.Write(p)
	if err == nil || w.met.Load() || w.SetReadDeadline(time.Now().Add(alertTime)) != nil {
		return n, err
	}
	var alert *net.OpError
	if _, why := w.in.Peek(1); errors.As(why, &alert) && alert.Op == remoteError {
		err = alert
	}
	return n, err
}

const (
	alertTime   = time.Second    // for a broker's reason to come, after a write that failed
	remoteError = "remote error" // as crypto/tls calls the other side's alert
)

func (w *brokerConn) Close() error {
	w.shut()
	return w.timedConn.Close()
}

// acknowledge has a PUBACK sent (MQTT 3.1.1, §3.4). It does not wait.
func (w *brokerConn) acknowledge(id uint16) {
	w.owing.Lock()
	w.owed = append(w.owed, packets.Puback<<4, 2, byte(id>>8), byte(id))
	w.owing.Unlock()
	wake(w.wake)
}

// answer sends what is owed until the connection is closed.
func (w *brokerConn) answer() {
	for {
		select {
		case <-w.wake:
			w.send()
		case <-w.gone:
			return
		}
	}
}

// send sends what is owed now.
func (w *brokerConn) send() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.owing.Lock()
	w.owed, w.sending = w.sending[:0], w.owed
	w.owing.Unlock()
	if len(w.sending) == 0 {
		return
	}
	if _, err := w.Write(w.sending); err != nil {
		w.fail(err)
	}
}

// hold waits while more than half of the room is taken, so that the broker has
// to wait: mosquitto 2.0.11, for one, keeps to its window of unacknowledged
// messages only until the first is acknowledged, and sends all it has from
// then on. It does not wait for ever: the broker's other answers come on the
// same connection. Before the link is told there is nobody to wait for.
func (ss *session) hold() {
	if !ss.behind() {
		return
	}
	look := time.NewTicker(holdLook)
	defer look.Stop()
	for began := time.Now(); ss.behind() && time.Since(began) < ss.source.cfg.LongestHold; {
		<-look.C
	}
}

func (ss *session) behind() bool {
	ss.mu.Lock()
	defer ss.mu.Unlock()
	return ss.told && !ss.overrun && len(ss.source.items) > room/2
}

// forgetful is what the client library keeps messages in to survive a
// reconnection: nothing, for every connection has a client of its own and the
// broker keeps what is not acknowledged.
type forgetful struct{}

func (forgetful) Open()                             {}
func (forgetful) Put(string, packets.ControlPacket) {}
func (forgetful) Get(string) packets.ControlPacket  { return nil }
func (forgetful) All() []string                     { return nil }
func (forgetful) Del(string)                        {}
func (forgetful) Close()                            {}
func (forgetful) Reset()                            {}

var _ mqtt.Store = forgetful{}
