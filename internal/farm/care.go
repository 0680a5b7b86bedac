package farm

import "time"

// Rounds is the list of what to do at each bin today, most urgent bin first.
type Rounds struct {
	At       time.Time  `json:"at"`
	Farm     string     `json:"farm"`
	Opening  string     `json:"opening"` // one sentence on the whole farm; says so when there is nothing to do
	Care     []Care     `json:"care"`
	Done     []string   `json:"done,omitempty"`     // raised, and seen to of late: a sentence each, with when to look again
	Bring    []string   `json:"bring,omitempty"`    // for the whole walk: "about 5 litres of water", "a mask"
	Cautions []string   `json:"cautions,omitempty"` // those that apply to something on the list
	Unsure   []string   `json:"unsure,omitempty"`   // what keeps anybody from saying that all is well, a sentence each
	Probes   []string   `json:"probes,omitempty"`   // doubts, silences and batteries, a sentence each
	Hushed   []string   `json:"hushed,omitempty"`   // what is kept quiet and until when
	Needs    []NeedView `json:"needs,omitempty"`
}

// A Care line is one thing to do at one zone.
type Care struct {
	Bin       string    `json:"bin"`
	Zone      string    `json:"zone,omitempty"`
	Condition Condition `json:"condition,omitempty"`
	Episode   string    `json:"id,omitempty"` // of the raised condition behind it, for seen and hush
	Urgency   Urgency   `json:"urgency"`
	Do        string    `json:"do"`  // what to do, with its amount
	Why       string    `json:"why"` // one line
	Bring     []string  `json:"bring,omitempty"`
	Jot       *Jot      `json:"jot,omitempty"`  // the line to write when it is done; At is zero
	Over      *Jot      `json:"over,omitempty"` // the line that ends it where doing it once does not; At is zero
	Seen      bool      `json:"seen,omitempty"`
}
