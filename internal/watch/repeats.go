package watch

import (
	"maps"

	"binwatchd/internal/ingest"
)

// repeatsKept is how many packets are remembered: more than a source has room
// for, all of which may be committed when their connection is gone already, and
// far fewer than the 65,535 after which ids come round again. It is not left to
// the broker's window: mosquitto 2.0.11 sends all it has, whatever that is set
// to, once the first message is acknowledged.
const repeatsKept = 8192

// repeats knows again what is sent once more: marked DUP, by the same sender in
// the same session, with a packet id and content that are in the journal already.
// That happens when the daemon dies between a commit and its acknowledgements.
type repeats struct {
	session int64
	known   map[packetID]packet
	order   []noted // ring of what became known, oldest at next once it is full
	next    int
	count   int64
}

// A packetID is the number of a packet and who gave it, in one session of theirs.
type packetID struct {
	sender uint32
	id     uint16
}

// A packet is what was last known to come under an id. A broker that was killed
// may begin again with ids it had used before.
type packet struct {
	hash uint32
	nth  int64
}

// A noted is a place in the order in which packets became known.
type noted struct {
	id  packetID
	nth int64
}

func newRepeats() repeats { return repeats{known: map[packetID]packet{}} }

// know notes a packet that has been committed.
func (r *repeats) know(id packetID, hash uint32) {
	r.count++
	r.known[id] = packet{hash, r.count}
	one := noted{id, r.count}
	if len(r.order) < repeatsKept {
		r.order = append(r.order, one)
		return
	}
	if old := r.order[r.next]; r.known[old.id].nth == old.nth { // else it is known anew since
		delete(r.known, old.id)
	}
	r.order[r.next] = one
	r.next = (r.next + 1) % repeatsKept
}

// is tells whether a delivery is in the journal already. A message that is not
// marked takes its id over from the one before.
func (r *repeats) is(d *ingest.Delivery) bool {
	if d.QoS == 0 {
		return false
	}
	id := packetID{d.Sender, d.ID}
	if !d.Dup {
		delete(r.known, id)
		return false
	}
	p, ok := r.known[id]
	return ok && p.hash == hashOf(d)
}

// forget begins a new session of a sender: its packet ids mean other messages.
func (r *repeats) forget(sender uint32) {
	r.session++
	maps.DeleteFunc(r.known, func(id packetID, _ packet) bool { return id.sender == sender })
}
