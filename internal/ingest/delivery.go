// Package ingest turns what arrives over MQTT into trusted readings: a
// [Source] or a [Listener] hears deliveries, a [Decoder] finds the probes'
// numbers in them and puts them into inner units, [Arrivals] tells which times
// can't be trusted, and a [Doubter] says which readings are not to be
// believed, and why.
//
// Nothing else in the program parses payloads. The package keeps nothing on
// disk and judges no bin; it acknowledges a message only when its caller says
// so, because only the caller knows when the reading is safe. Decoder,
// Arrivals and Doubter read no clock: the same deliveries always make the same
// readings, live and replayed. The live loop and the rehearsal are its
// callers. A figure whose comment names no source is a choice, or common practice
// without one.
//
// Reading order. Hearing: settings.go (its keys), delivery.go, source.go (a broker that is subscribed
// to), session.go (one connection to it), connection.go; listener.go (our own
// broker), connlimit.go (who is let in, and how much at once), hook.go. Decoding:
// decode.go, filters.go (topics), json.go, values.go (numbers and times),
// calibration.go, command.go (jots, hushes, seens). Times: arrivals.go. Doubting:
// doubter.go, track.go (what is known of a probe, and its snapshot), jump.go,
// lifted.go, frozen.go, twin.go.
package ingest

import (
	"sync/atomic"
	"time"

	"binwatchd/internal/farm"
)

// A Delivery is one MQTT message, not yet acknowledged.
type Delivery struct {
	Topic    string
	Payload  []byte
	QoS      byte
	ID       uint16 // packet identifier; 0 with QoS 0
	Sender   uint32 // who numbers the packets, in one session of it; 0: the one broker that is subscribed to
	User     string // of the farm's people, who sent it; "": it is not known who did
	Dup      bool   // the broker sent it before and got no answer
	Retained bool   // the broker's stored value, heard on subscribing
	Hurry    bool   // its sender waits for the acknowledgement: commit soon
	Own      bool   // a marker of our own: nothing to be decoded
	Caught   bool   // the one of this connection: all that the broker had kept is through
	Arrived  time.Time

	// Ack tells the sender that the message is safe. It is never nil, may be
	// called from any goroutine and more than once, and does nothing once the
	// connection that brought the message is gone: such a message comes again.
	// Acknowledge in the order of arrival.
	Ack func()
}

// A Link says that the broker was reached or lost.
type Link struct {
	Up      bool
	Sender  uint32 // of the deliveries that follow; 0 of a Listener, where each says its own
	Resumed bool   // packet ids go on from before
	Backlog farm.Backlog
	Trouble string // why it is down or what is refused, without secrets; "" when all is well
	At      time.Time
}

// An Item is what a Source or a Listener hears: a Link or a Delivery, never
// both. A Link that is up comes before the first Delivery of its connection.
type Item struct {
	Link     *Link
	Delivery *Delivery
}

// An outlet is where a Source or a Listener hands over what it hears.
type outlet struct {
	items chan Item
	again chan struct{} // asks for new connections
	ran   atomic.Bool
}

func newOutlet(room int) outlet {
	return outlet{items: make(chan Item, room), again: make(chan struct{}, 1)}
}

// Items carries links and deliveries in the order they happened. It is closed
// when Run has returned.
func (o *outlet) Items() <-chan Item { return o.items }

// Reconnect drops all connections and lets new ones be made at once, so that all
// that is not acknowledged comes again, after a Link that is up. It does not wait.
func (o *outlet) Reconnect() { wake(o.again) }

// tell hands over a link. It may wait, until done: it is not called from a handler.
func (o *outlet) tell(done <-chan struct{}, l Link) {
	select {
	case o.items <- Item{Link: &l}:
	case <-done:
	}
}

// wake sends a signal that need not be sent twice to a channel with room for one.
func wake(c chan<- struct{}) {
	select {
	case c <- struct{}{}:
	default: // one is on its way
	}
}
