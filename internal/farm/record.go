package farm

import "time"

// A Sample is a stretch of a folded history: one quantity of one zone, or one
// probe, over Step from At.
type Sample struct {
	At   time.Time `json:"at"`
	Min  float64   `json:"min"`
	Mean float64   `json:"mean"`
	Max  float64   `json:"max"`
	N    int64     `json:"n"`
}

// Owed is a notice that one recipient is to get about one change. It is
// written in the transaction that writes the change, and settled when the
// recipient's server has accepted it.
type Owed struct {
	ID       int64     // place in the outbox
	Notice   string    // stable identity: the webhook's id, the core of the Message-ID
	Teller   string    // key of the recipient; never holds a secret
	ChangeID int64     // place of the change in the journal
	Change   Change    // what to tell
	Created  time.Time // arrival time of the event that caused it
	Tries    int
	Next     time.Time // not before
	Trouble  string    // what the last attempt met, secrets left out
}

// Fate is what became of an owed notice.
type Fate string

const (
	Told    Fate = "told"    // accepted by the recipient's server
	Summed  Fate = "summed"  // told as a line of a summary
	Dropped Fate = "dropped" // not wanted: its raise was never told, or the recipient is gone
)
