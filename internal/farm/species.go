package farm

// A Species is one kind of composting worm: what it bears, where it does
// well, how fast it works and how its cocoons hatch. The published rows are in
// package husbandry; a keeper may add rows or overrule parts of them.
type Species struct {
	ID          string   `yaml:",name"` // the word used in a configuration: red, european, blue, african
	Name        string   `yaml:"name" kind:"a name" like:"Red worms" help:"As you would say it."`
	Latin       string   `yaml:"latin" kind:"a name" like:"Eisenia fetida" help:"As a book would say it."`
	Temperature Bands    `yaml:"temperature,flow" kind:"bands of temperature" of:"temperatures" help:"Bands of temperature."`
	Moisture    Bands    `yaml:"moisture,flow" kind:"bands of moisture" of:"percentages" help:"Bands of moisture, by fresh mass."`
	Cardinal    Cardinal `yaml:"cardinal,flow" kind:"cardinal temperatures" help:"Where activity begins, is best and ends."`
	Cocoon      Cocoon   `yaml:"cocoon,flow" kind:"cocoons" help:"How cocoons hatch."`
	Sources     []Source
}

// Wellbeing is how a species does at a temperature or a moisture, in a word that
// fits after "is" or "has it".
type Wellbeing string

const (
	Thriving Wellbeing = "thriving"  // inside its thrive band
	Slowed   Wellbeing = "slowed"    // past it on the hot side
	Resting  Wellbeing = "resting"   // past it on the cold side
	InDanger Wellbeing = "in danger" // past its survive band
	Parched  Wellbeing = "too dry"   // past its thrive band on the dry side
	Soaked   Wellbeing = "too wet"   // and on the wet side
)

// Wellbeings lists them from the worst on.
var Wellbeings = []Wellbeing{InDanger, Slowed, Resting, Parched, Soaked, Thriving}

// Cardinal temperatures bound and peak the activity curve, °C.
type Cardinal struct {
	Min  float64 `yaml:"min" kind:"a temperature" help:"Colder, nothing happens."`
	Best float64 `yaml:"best" kind:"a temperature" help:"Activity is at its height; nearer to max than to min."`
	Max  float64 `yaml:"max" kind:"a temperature" help:"Hotter, nothing happens."`
}

// A Cocoon hatches when the day-degrees above BaseC add up to DegreeDays.
type Cocoon struct {
	BaseC      float64 `yaml:"base" kind:"a temperature" help:"Warmth counts above this."`
	DegreeDays float64 `yaml:"degree_days" kind:"a number of degree days" help:"Days times degrees Celsius above base until they hatch."` // K·d
	Hatchlings float64 `yaml:"hatchlings" kind:"a number of young" help:"Young from one cocoon."`
}

// A Source says where a figure of the species table comes from, or that
// another source disagrees with it.
type Source struct {
	Figure string // what the source speaks of: "tolerated temperature", "cocoons"
	Says   string // what it says, with units
	Where  string // author, year and place of publication; or "from memory"
}
