package watch

import "binwatchd/internal/ingest"

// repeatsKept is how many packets are remembered: some times the window of any
// sane broker, and far fewer than the 65,535 after which ids come round again.
const repeatsKept = 2048

// repeats knows again what the broker sends once more: marked DUP, in the same
// session, with a packet id and content that are in the journal already. That
// happens when the daemon dies between a commit and its acknowledgements.
type repeats struct {
	session int64
	hash    map[uint16]uint32
	order   []uint16 // ring of what is in hash, oldest at next once it is full
	next    int
}

func newRepeats() repeats { return repeats{hash: map[uint16]uint32{}} }

// know notes a packet that has been committed.
func (r *repeats) know(id uint16, hash uint32) {
	if _, ok := r.hash[id]; !ok {
		r.remember(id)
	}
	r.hash[id] = hash
}

func (r *repeats) remember(id uint16) {
	if len(r.order) < repeatsKept {
		r.order = append(r.order, id)
		return
	}
	delete(r.hash, r.order[r.next])
	r.order[r.next] = id
	r.next = (r.next + 1) % repeatsKept
}

// is tells whether a delivery is in the journal already.
func (r *repeats) is(d *ingest.Delivery) bool {
	if !d.Dup || d.QoS == 0 {
		return false
	}
	h, ok := r.hash[d.ID]
	return ok && h == hashOf(d)
}

// forget begins a new session: its packet ids mean other messages.
func (r *repeats) forget() {
	*r = repeats{session: r.session + 1, hash: map[uint16]uint32{}}
}
