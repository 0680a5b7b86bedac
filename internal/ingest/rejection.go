package ingest

import "binwatchd/internal/farm"

// Reasons for a rejection. They are few and fixed, because they serve as
// labels of the metrics.
const (
	Unclaimed  = "unclaimed"    // no probe and no command has this topic
	TooLarge   = "too_large"    // over 64 KiB
	Empty      = "empty"        // nothing but white space
	NotJSON    = "not_json"     // a JSON Pointer is to be followed in what is not JSON
	Missing    = "missing"      // the JSON Pointer points at nothing
	NotNumber  = "not_a_number" // something else than a number stands there
	BadCommand = "bad_command"  // a jot, hush or seen that can't be understood
)

// Reasons lists every reason of a rejection.
var Reasons = []string{Unclaimed, TooLarge, Empty, NotJSON, Missing, NotNumber, BadCommand}

// A Rejection is a message, or one probe's part of it, that made no reading.
type Rejection struct {
	Probe  string // "" when no probe is concerned
	Reason string // one of Reasons
	Detail string // a sentence for people, with at most a little of the payload
}

// Decoded is what one message became. A message may feed several probes, and
// give a reading for one while it is rejected for another.
type Decoded struct {
	Readings []farm.Reading
	Jot      *farm.Jot
	Hush     *farm.Hush
	Timed    bool // the jot or hush says its own time
	Seen     *farm.Seen
	Rejected []Rejection
}
