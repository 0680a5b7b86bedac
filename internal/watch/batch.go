package watch

import (
	"hash/fnv"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/journal"
)

const (
	// full is how many readings wait at most before they are written, unless more
	// have come already. It stays under the 20 messages that brokers leave
	// unacknowledged by default: waiting for more would wait for ever.
	full = 16
	// most is how many are written at a time, however many have come.
	most = 512
)

// A batch is what one transaction will write and what is acknowledged after
// it.
type batch struct {
	entries  []journal.Entry
	changes  []journal.Change
	unacked  []*ingest.Delivery // in the order of arrival
	flushAt  time.Time          // wall clock: to be committed by then; zero when nothing waits
	urgent   bool               // something has changed, or somebody waits for the commit
	hurry    bool               // a probe is kept awake until its message is acknowledged
	snapshot bool
	restamp  *journal.Restamp
}

// add puts an event and what followed from it into the batch.
func (b *batch) add(e farm.Event, changes []farm.Change, d *ingest.Delivery) {
	entry := journal.Entry{Event: e}
	if d != nil && d.QoS > 0 {
		entry.Packet, entry.Sender, entry.Hash = d.ID, d.Sender, hashOf(d)
	}
	b.entries = append(b.entries, entry)
	for _, ch := range changes {
		b.changes = append(b.changes, journal.Change{Change: ch, Entry: len(b.entries) - 1})
	}
}

// empty tells whether there is nothing to write.
func (b *batch) empty() bool { return len(b.entries) == 0 && len(b.changes) == 0 && !b.snapshot }

// waiting counts what the batch is measured by.
func (b *batch) waiting() int { return max(len(b.entries), len(b.unacked)) }

// acknowledge tells the broker, in the order of arrival.
func (b *batch) acknowledge() {
	for _, d := range b.unacked {
		d.Ack()
	}
}

// reset empties the batch and keeps its room.
func (b *batch) reset() {
	clear(b.unacked)
	*b = batch{entries: b.entries[:0], changes: b.changes[:0], unacked: b.unacked[:0]}
}

// hashOf is what a repeated message is known by, beside its packet id.
func hashOf(d *ingest.Delivery) uint32 {
	h := fnv.New32a()
	h.Write([]byte(d.Topic))
	h.Write([]byte{0})
	h.Write(d.Payload)
	return h.Sum32()
}
