package farm

// A Species is one kind of composting worm: what it bears, where it does
// well, how fast it works and how its cocoons hatch. The published rows are in
// package husbandry; a keeper may add rows or overrule parts of them.
type Species struct {
	ID          string // the word used in a configuration: red, european, blue, african
	Name        string // as a keeper would say it
	Latin       string
	Temperature Bands    // °C
	Moisture    Bands    // % wet basis
	Cardinal    Cardinal // °C, of the activity curve
	Cocoon      Cocoon
	Sources     []Source
}

// Cardinal temperatures bound and peak the activity curve, °C.
type Cardinal struct{ Min, Best, Max float64 }

// A Cocoon hatches when the day-degrees above BaseC add up to DegreeDays.
type Cocoon struct {
	BaseC      float64 // °C
	DegreeDays float64 // K·d
	Hatchlings float64 // young a cocoon
}

// A Source says where a figure of the species table comes from, or that
// another source disagrees with it.
type Source struct {
	Figure string // what the source speaks of: "tolerated temperature", "cocoons"
	Says   string // what it says, with units
	Where  string // author, year and place of publication; or "from memory"
}
