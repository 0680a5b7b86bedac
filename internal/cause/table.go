package cause

import "binwatchd/internal/farm"

// Kind is what raised conditions may come of together: the name of a row of [Table].
type Kind string

const (
	Cold  Kind = "cold"  // the air of a place has fallen
	Heat  Kind = "heat"  // the air of a place has risen
	Quiet Kind = "quiet" // probes no longer speak
)

// A Row is what is the same for all causes of a kind. What to do is common practice,
// no source.
type Row struct {
	Kind       Kind
	Conditions []farm.Condition // that it shows in, what is there before what is foreseen
	Side       farm.Side        // of the limit that the air is held to

	Sudden string // after the place's name and a colon, where the air was never like that of late
	Usual  string // likewise, where it was
	Harm   string // after "7 bins ": past what they survive
	Ill    string // after "3 bins ": past what suits them
	Coming string // after "2 bins ": foreseen
	Do     string
	Over   string // after "7 bins ", once it is over
}

const current = "Keep your hands off wet or damaged heaters, cables and sockets: switch them off where that is safe, and leave repairs to an electrician."

// Table is every kind of cause, in the order in which a letter tells of them.
var Table = []Row{
	{
		Kind: Cold, Conditions: []farm.Condition{farm.TooCold, farm.Cooling}, Side: farm.Below,
		Sudden: "heating off?", Usual: "cold air", Harm: "in danger of cold", Ill: "too cold", Coming: "cooling down", Over: "warm enough again",
		Do: "See to the heating, the power and the doors before any single bin; then cover the bins or carry them somewhere warm.",
	},
	{
		Kind: Heat, Conditions: []farm.Condition{farm.TooHot, farm.Warming}, Side: farm.Above,
		Sudden: "vents shut, or heating that does not stop?", Usual: "hot air", Harm: "in danger of heat", Ill: "too hot", Coming: "warming up", Over: "cool enough again",
		Do: "Open vents and doors, shade the windows and see whether the heating runs before any single bin; then shade the bins or carry them somewhere cool.",
	},
	{Kind: Quiet, Conditions: []farm.Condition{farm.Silent}},
}

// row gives the row of a kind, which there is.
func (k Kind) row() *Row {
	for i := range Table {
		if Table[i].Kind == k {
			return &Table[i]
		}
	}
	return &Row{Kind: k}
}

// A Fault is how far probes that no longer speak have something in common.
type Fault uint8

const (
	NoFault Fault = iota
	NoBroker
	NoProbe // the broker is reached, and nothing comes
	Gateway // all that speaks through one, by the configuration
	Together
)

// faults say what each means: %s of a gateway is its name.
var faults = [...]struct{ title, do, caution string }{
	NoBroker: {"The broker is not reached", "Look at the broker and the network before any probe.", ""},
	NoProbe:  {"No probe speaks", "See whether there is power, then whether gateways and network run; the broker can be reached. No single probe is to blame.", current},
	Gateway:  {"Gateway %s", "See whether gateway %s has power and reaches the network before any single probe.", current},
	Together: {"", "They fell silent together. Look for what they share before any single probe: a gateway, a board, a supply, a switch.", current},
}
