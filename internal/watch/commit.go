package watch

import (
	"context"
	"fmt"
	"hash/fnv"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/journal"
	"binwatchd/internal/rules"
)

const (
	// full is how many readings wait at most before they are written, unless more
	// have come already. It stays under the 20 messages that brokers leave
	// unacknowledged by default: waiting for more would wait for ever.
	full = 16
	// most is how many are written at a time, however many have come.
	most = 512
	// Fewer than half of those 20 may wait longer than flush, where the broker keeps all of
	// them: else a small farm's card takes a write for every reading or two.
	half        = 10
	longer      = 4
	longestWait = 2 * time.Minute
)

// A batch is what one transaction will write and what is acknowledged after
// it.
type batch struct {
	journal.Batch
	unacked []*ingest.Delivery // in the order of arrival
	answers []*ingest.Answer   // to senders of jots
	began   time.Time          // wall clock: when the first was there to be written; zero when nothing waits
	flushAt time.Time          // to be committed by then; it only comes nearer
	urgent  bool               // something has changed, or somebody waits for the commit
	brief   bool               // holds what nobody would send again
	hurry   bool               // a probe is kept awake until its message is acknowledged
	save    bool               // with a snapshot, though none is due
}

// add puts an event and what followed from it into the batch.
func (b *batch) add(e farm.Event, changes []farm.Change, d *ingest.Delivery) {
	entry := journal.Entry{Event: e}
	if d != nil && d.QoS > 0 {
		entry.Packet, entry.Sender, entry.Hash = d.ID, d.Sender, hashOf(d)
	} else {
		b.brief = true
	}
	b.Entries = append(b.Entries, entry)
	for _, ch := range changes {
		b.Changes = append(b.Changes, journal.Change{Change: ch, Entry: len(b.Entries) - 1})
	}
}

// owe adds the notices that the changes owe.
func (b *batch) owe(owes func(farm.Change) []farm.Owed) {
	for i, ch := range b.Changes {
		for _, o := range owes(ch.Change) {
			b.Owed = append(b.Owed, journal.Owe{Change: i, Teller: o.Teller, Notice: o.Notice})
		}
	}
}

// empty tells whether there is nothing to write.
func (b *batch) empty() bool { return len(b.Entries) == 0 && !b.save }

// waiting counts what the batch is measured by.
func (b *batch) waiting() int { return max(len(b.Entries), len(b.unacked)) }

// acknowledge tells the broker, in the order of arrival, and the senders of jots what
// has become of them.
func (b *batch) acknowledge(answer func(*ingest.Answer)) {
	for _, d := range b.unacked {
		d.Ack()
	}
	for _, a := range b.answers {
		if answer != nil {
			answer(a)
		}
	}
}

// reset empties the batch and keeps its room.
func (b *batch) reset() {
	clear(b.unacked)
	*b = batch{Batch: journal.Batch{Entries: b.Entries[:0], Changes: b.Changes[:0]}, unacked: b.unacked[:0]}
}

// hashOf is what a repeated message is known by, beside its packet id.
func hashOf(d *ingest.Delivery) uint32 {
	h := fnv.New32a()
	h.Write([]byte(d.Topic))
	h.Write([]byte{0})
	h.Write(d.Payload)
	return h.Sum32()
}

const (
	snapshotEvery   = 6 * time.Hour // of journal time
	snapshotEntries = 20_000        // or after so many entries: a restart replays no more
	hurried         = 200 * time.Millisecond
)

// armFlush sets the timer to when what waits has to be committed.
func (l *Loop) armFlush(t *time.Timer) {
	at := l.batch.flushAt
	if l.outage.on() {
		at = l.outage.next
	}
	if at.IsZero() || l.written != nil { // what waits is looked at when the write is done
		t.Reset(time.Hour)
		return
	}
	t.Reset(l.real(at.Sub(l.now())))
}

// due has the batch written when it is full or urgent, and else sees to it that
// it will be.
func (l *Loop) due(ctx context.Context) {
	b := &l.batch
	switch {
	case l.written != nil, l.outage.on(): // asked again afterwards
		return
	case b.empty(), b.urgent, l.enough():
		l.startWrite(ctx)
		return
	case b.began.IsZero():
		b.began = l.now()
	}
	b.flushBy(b.began.Add(l.waits()))
	if b.hurry {
		b.flushBy(l.now().Add(hurried))
	}
}

// waits is how long the batch waits for more to come.
func (l *Loop) waits() time.Duration {
	if l.batch.brief || l.batch.waiting() >= half {
		return l.cfg.Flush
	}
	return max(l.cfg.Flush, min(longer*l.cfg.Flush, longestWait))
}

// flushBy has the batch committed by a time, if it is not to be earlier.
func (b *batch) flushBy(at time.Time) {
	if b.flushAt.IsZero() || at.Before(b.flushAt) {
		b.flushAt = at
	}
}

// enough tells whether the batch is worth a write. All that has come already
// joins it before: a write takes the disk about as long for many as for few.
func (l *Loop) enough() bool {
	n := l.batch.waiting()
	return n >= most || n >= full && len(l.cfg.Source.Items()) == 0
}

// inPlace tells whether the journal's path still names the file that is written:
// on a quiet farm nothing is written for long, and the keeper should know.
func (l *Loop) inPlace() bool {
	if l.finishWrite() != nil {
		return false // the failure has been dealt with
	}
	if err := l.cfg.Journal.InPlace(); err != nil {
		l.fail(err)
		return false
	}
	return true
}

// commit returns when all that waits is on disk and acknowledged, or thrown
// away because it could not be written.
func (l *Loop) commit(ctx context.Context) error {
	if err := l.finishWrite(); err != nil {
		return err
	}
	l.startWrite(ctx)
	return l.finishWrite()
}

// startWrite has the batch written; the caller has seen to it that no write is
// under way. A stop, or a caller that goes away meanwhile, does not break it
// off: that would pass for trouble with the disk.
func (l *Loop) startWrite(ctx context.Context) {
	if l.batch.empty() { // repeats and rejected messages
		l.batch.acknowledge(l.cfg.Answer)
		l.batch.reset()
		return
	}
	err := l.transaction(&l.batch)
	l.writing, l.batch, l.spare = l.batch, l.spare, batch{}
	rows, written, idle := &l.writing.Batch, make(chan error, 1), make(chan struct{})
	l.written, l.idle, l.sent = written, idle, l.now()
	if err != nil {
		written <- err
		close(idle)
		return
	}
	go func() {
		written <- l.cfg.Journal.Append(context.WithoutCancel(ctx), rows)
		close(idle)
	}()
}

// writeEnds tells whether no write is under way, or is no more within a time. A
// failure is dealt with.
func (l *Loop) writeEnds(within time.Duration) bool {
	if l.written == nil {
		return true
	}
	late := time.NewTimer(within)
	defer late.Stop()
	select {
	case err := <-l.written:
		_ = l.endWrite(err)
		return true
	case <-late.C:
		return false
	}
}

// finishWrite returns when no write is under way.
func (l *Loop) finishWrite() error {
	if l.written == nil {
		return nil
	}
	return l.endWrite(<-l.written)
}

// endWrite takes in the outcome of the write under way.
func (l *Loop) endWrite(err error) error {
	if err = l.outcome(err); err != nil {
		l.fail(err)
	}
	return err
}

func (l *Loop) outcome(err error) error {
	l.written = nil
	if err != nil {
		return fmt.Errorf("commit %d entries: %w", len(l.writing.Entries), err)
	}
	l.committed(&l.writing)
	return nil
}

// transaction adds to a batch what the journal is to write beside events and changes.
func (l *Loop) transaction(b *batch) (err error) {
	b.Session = l.repeats.session
	b.owe(l.cfg.Owes)
	if c := l.time.owed; c != nil && c.TakenBack {
		return nil // memory is made anew after this
	}
	if slices.ContainsFunc(b.Entries, func(e journal.Entry) bool { return isStrike(e.Event) }) {
		return nil // memory holds what was struck
	}
	if b.save || l.memory.Replayed+len(b.Entries) >= snapshotEntries || l.memory.Last.Sub(l.memory.Taken) >= snapshotEvery {
		b.Snapshot, err = l.snapshot()
	}
	return err
}

func (l *Loop) snapshot() (*journal.Snapshot, error) {
	state, err := l.memory.State.Save()
	if err != nil {
		return nil, err
	}
	doubts, err := l.memory.Doubter.Save()
	if err != nil {
		return nil, fmt.Errorf("save doubts: %w", err)
	}
	arrivals, err := l.memory.Arrivals.Save()
	if err != nil {
		return nil, err
	}
	return &journal.Snapshot{
		Version: rules.SnapshotVersion, Digest: l.cfg.Digest, Taken: l.memory.Last, Rules: state, Doubts: doubts, Arrivals: arrivals,
	}, nil
}

// committed is what follows a commit: the broker may forget the messages.
func (l *Loop) committed(b *batch) {
	now := l.now()
	for _, e := range b.Entries {
		if e.Packet != 0 {
			l.repeats.know(packetID{e.Sender, e.Packet}, e.Hash)
		}
	}
	l.memory.Replayed += len(b.Entries)
	if b.Snapshot != nil {
		l.memory.Replayed, l.memory.Taken = 0, b.Snapshot.Taken
	}
	if l.outage.on() {
		l.outage.over = now
		l.cfg.Log.Info("journal is written again", "outage", now.Sub(l.outage.since).Round(time.Second))
	}
	l.endOutage(now)
	b.acknowledge(l.cfg.Answer)
	if l.cfg.Said != nil && len(b.Changes) > 0 {
		var said []farm.Change
		for _, ch := range b.Changes {
			said = append(said, ch.Change)
		}
		l.cfg.Said(said)
	}
	b.reset()
	l.spare = *b
}
