package journal

import (
	"time"

	"binwatchd/internal/farm"
)

// An Entry is one event to append, with what is needed to know it again when
// the broker sends it once more.
type Entry struct {
	Event  farm.Event // Append fills in Seq
	Packet uint16     // MQTT packet id; 0 where there is none
	Sender uint32     // who numbered the packet, in one session
	Hash   uint32     // of topic and payload
}

// A Batch is written in one transaction, or not at all.
type Batch struct {
	Session  int64 // number of the broker's session; packet ids mean nothing across sessions
	Entries  []Entry
	Changes  []Change
	Owed     []Owe
	Snapshot *Snapshot // Seq 0: taken after the last entry of this batch
	Restamp  *Restamp  // applied after the entries and changes
}

// A Change is a change with its place.
type Change struct {
	farm.Change
	ID    int64 // Append fills it in
	Seq   int64 // of the event that caused it; Append fills it in
	Entry int   // index of the causing entry in its batch
}

// An Owe is a notice owed by a batch.
type Owe struct {
	Change int       // index of the change in its batch
	Teller string    // key of the recipient
	Notice string    // stable identity; "": Append makes one
	Next   time.Time // not before; zero: at once
}

// A Snapshot is the state of the rules, of the doubts and of the arrivals after
// one event.
type Snapshot struct {
	Seq      int64     // of the last event it contains
	Version  int       // of its encoding
	Digest   string    // of the configuration it was made under
	Taken    time.Time // journal time
	Rules    []byte
	Doubts   []byte
	Arrivals []byte
}

// A Restamp moves a stretch of the journal in time: see [Journal.Restamp].
type Restamp struct {
	From, To int64 // sequence numbers, both included; in a batch, To 0 is what stands before its clock event
	Shift    time.Duration
}

// A Repeat is what is needed to recognise a message that comes again.
type Repeat struct {
	Packet  uint16
	Sender  uint32
	Hash    uint32
	Session int64
	Seq     int64
}
