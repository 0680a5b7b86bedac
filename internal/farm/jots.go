package farm

import (
	"strings"
	"time"
)

// JotKind is what the keeper did, or saw.
type JotKind string

// What the keeper did. What one can see is in [JotTable] too, under the words that
// the logbook has for it.
const (
	Fed      JotKind = "fed"
	Watered  JotKind = "watered"
	Bedded   JotKind = "bedded"
	Turned   JotKind = "turned"
	Sifted   JotKind = "sifted"
	Stocked  JotKind = "stocked"
	Lifted   JotKind = "lifted"
	Emptied  JotKind = "emptied"
	Finished JotKind = "finished"
	Sold     JotKind = "sold"
	Used     JotKind = "used"
	Spread   JotKind = "spread"
	Holds    JotKind = "holds" // a stock-take
	Noted    JotKind = "noted"
)

// Stuff is what the amount of a jot is of.
type Stuff uint8

const (
	NoStuff  Stuff = iota // nothing can be said to be of anything
	Food                  // whatever the keeper calls it
	Bedding               // likewise
	Worms                 // a species of the table in force
	Water                 // nothing else
	Castings              // nothing else
)

// OfCastings is what castings are stocked as, beside the species of worms.
const OfCastings = "castings"

// A JotRow is one kind of line in the logbook. A new one is one more row.
type JotRow struct {
	Name   JotKind
	Hint   string // what it means, on the page
	Forms  string // words for it beside its name, parted by commas; each may be several words
	Amount bool   // how much may be said
	Of     Stuff
	Sight  *Sight // of what is seen, not done; else nil
}

// A Sight is what follows from something that a keeper sees, smells or feels.
type Sight struct {
	Do      string // what to do about it
	Caution string // where doing it can hurt; "" where it can't
	Source  string // of the advice

	NoFood time.Duration // no food is asked for so long
	Feel   Feel          // how moist it feels
	Eggs   bool          // cocoons lie there, and will hatch
}

// Feel is how moist a handful feels.
type Feel uint8

const (
	NoFeel Feel = iota
	FeelsDry
	FeelsRight
	FeelsWet
	FeelsDusty // dust rises
)

const (
	practice = "common practice, no source"
	days     = 24 * time.Hour
)

// JotTable lists every kind of jot, in the order in which they are shown.
var JotTable = []JotRow{
	{Name: Fed, Hint: "gave food", Forms: "feed, feeding, feeds", Amount: true, Of: Food},
	{Name: Watered, Hint: "gave water", Forms: "water, watering, sprayed, spray, misted, mist, moistened, dampened, wetted", Amount: true, Of: Water},
	{Name: Bedded, Hint: "gave dry bedding", Forms: "bedding", Amount: true, Of: Bedding},
	{Name: Turned, Hint: "loosened, mixed", Forms: "turn, turning, mixed, mix, mixing, fluffed, fluff, aerated, aerate, forked, fork, loosened, loosen, stirred, stir"},
	{Name: Sifted, Hint: "took castings off", Forms: "sift, sifting, screened, screening, sieved, sieve, sieving, harvested, harvest, harvesting", Amount: true, Of: Castings},
	{Name: Stocked, Hint: "put worms in, or castings into a tub", Forms: "stock, stocking", Amount: true, Of: Worms},
	{Name: Lifted, Hint: "took worms out", Forms: "lift, lifting", Amount: true, Of: Worms},
	{Name: Emptied, Hint: "emptied out", Forms: "empty, emptying", Amount: true},
	{Name: Finished, Hint: "all food is eaten", Forms: "finish, eaten up, all eaten", Of: Food},
	{Name: Sold, Hint: "castings sold", Forms: "sell, selling", Amount: true, Of: Castings},
	{Name: Used, Hint: "castings used up", Forms: "use, using", Amount: true, Of: Castings},
	{Name: Spread, Hint: "castings spread on a bed or field", Forms: "spreading", Amount: true, Of: Castings},
	{Name: Holds, Hint: "stock-take: how much is in it", Forms: "hold, stock-take, stocktake, stocktaking", Amount: true, Of: Castings},
	{Name: Noted, Hint: "anything else, in your own words", Forms: "note, noting"},
	{Name: "smells sour", Forms: "smell sour, smelled sour, smelt sour, smelly, stinks, stank, smells bad, smells rotten, sour smell, sour", Sight: &Sight{
		Do:     "Give no food for a week, mix in dry bedding and loosen the material, so that air comes in.",
		Source: practice, NoFood: 7 * days}},
	{Name: "mites", Forms: "mite", Sight: &Sight{
		Do:     "Take out what rots, and feed less and drier for a week; they do worms little harm.",
		Source: practice, NoFood: 7 * days}},
	{Name: "worms climbing", Forms: "worms climbing the walls, worms are climbing the walls, worms climb the walls, worms are climbing, worms climbing up, climbing worms, worms on the walls, worms on the lid, worms escaping, worms leaving, worms climb", Sight: &Sight{
		Do:     "Look today for what drives them off: heat under the feed, standing water, sour food. Take it out, and leave a light on over the open lid tonight.",
		Source: practice, NoFood: 3 * days}},
	{Name: "worms balled", Forms: "worms balling, worms in a ball, worms in balls, balled worms, ball of worms, worms clumped", Sight: &Sight{
		Do:     "Feel for heat and for dry spots around them, and turn lightly; worms that are newly stocked do so for a few days.",
		Source: practice}},
	{Name: "worms pale", Forms: "pale worms, worms swollen, swollen worms, worms pale or swollen, worms are pale, worms are swollen", Sight: &Sight{
		Do:     "Give no food for two weeks, take rich food out, and mix in bedding with a little ground eggshell.",
		Source: practice, NoFood: 14 * days}},
	{Name: "mould", Forms: "mold, mouldy, moldy, molds, moulds", Sight: &Sight{
		Do:      "Cover the food with a hand's depth of bedding, and give less until it is gone.",
		Caution: "Do not breathe spores in: dampen before you stir, and stay away with asthma or a weak immune system.",
		Source:  practice}},
	{Name: "ants", Forms: "ant", Sight: &Sight{
		Do:     "They settle where it is dry: water the corners, and stand the legs in water or soap.",
		Source: practice, Feel: FeelsDry}},
	{Name: "rodents", Forms: "mice, mouse, rats, rat, rodent, mouse droppings, rat droppings, droppings", Sight: &Sight{
		Do:      "Close every gap wider than a pencil with wire mesh, and bury the food.",
		Caution: "Droppings of rodents can carry disease: do not sweep or stir them dry; wet them with disinfectant, wear gloves and a mask, air the room first. What your health authority says comes first.",
		Source:  "cleaning up after rodents: advice of public health authorities, from memory"}},
	{Name: "feels dry", Forms: "feels a bit dry, feel dry, felt dry, feels too dry, too dry, is dry, looks dry", Sight: &Sight{
		Do: "Water in small doses over a few days, and feel again.", Source: practice, Feel: FeelsDry}},
	{Name: "feels right", Forms: "feel right, felt right, feels good, feels fine, feels moist, feels like a wrung-out sponge, like a wrung-out sponge", Sight: &Sight{
		Source: practice, Feel: FeelsRight}},
	{Name: "feels wet", Forms: "feels a bit wet, feel wet, felt wet, feels too wet, too wet, is wet, looks wet, soggy, waterlogged", Sight: &Sight{
		Do: "Mix in dry bedding and give no water until it feels right.", Source: practice, Feel: FeelsWet}},
	{Name: "clumps", Forms: "clump, clumping, clumped, lumpy, smears, smearing", Sight: &Sight{
		Do: "Leave it to dry for some days before it goes over the screen.", Source: practice}},
	{Name: "dusty", Forms: "dust, dust rises, dusts", Sight: &Sight{
		Do:      "Dampen it lightly before it is moved.",
		Caution: "Dust of castings carries spores: dampen, air the room, wear a P2 or N95 mask; with asthma or a weak immune system stay away.",
		Source:  "under 44 % compost is dusty: LSU AgCenter 2022; dust and masks: Pearson et al. 2015, J Toxicol Environ Health B 18:43–69", Feel: FeelsDusty}},
	{Name: "eggs", Forms: "egg, cocoons, cocoon, saw eggs, saw cocoons", Sight: &Sight{
		Source: "incubation by species: the table of species", Eggs: true}},
	{Name: "few worms", Forms: "fewer worms, hardly any worms, no worms, where are the worms", Sight: &Sight{
		Do:     "Feed by half until you know why, and look for heat, dry corners and sour food.",
		Source: practice}},
	{Name: "leachate", Forms: "leaching, drips, dripping, water in the bottom, standing water", Sight: &Sight{
		Do:      "Drain it, mix in dry bedding, and give no water until it has stopped.",
		Caution: "It is no drink and no feed for food plants: it may carry germs.",
		Source:  practice, Feel: FeelsWet}},
}

// JotKinds lists every kind of jot, for checks and messages.
var JotKinds = jotKinds()

func jotKinds() (all []JotKind) {
	for _, row := range JotTable {
		all = append(all, row.Name)
	}
	return all
}

// Row gives the row of a kind; an empty one for a kind that is not in the table.
func (k JotKind) Row() *JotRow {
	for i := range JotTable {
		if JotTable[i].Name == k {
			return &JotTable[i]
		}
	}
	return &JotRow{Name: k}
}

// Done tells whether a kind is something that was done at the bin, not seen or noted.
func (k JotKind) Done() bool { return k != Noted && k.Row().Sight == nil }

// Spellings are the words for a kind: its name first.
func (r *JotRow) Spellings() []string {
	all := []string{string(r.Name)}
	for form := range strings.SplitSeq(r.Forms, ",") {
		if form = strings.TrimSpace(form); form != "" {
			all = append(all, form)
		}
	}
	return all
}

// A Jot is a line in the logbook.
type Jot struct {
	ID     int64     `json:"-"` // place in the journal, by which it can be struck; 0: it is not read from there
	At     time.Time `json:"at,omitzero"`
	Bin    string    `json:"bin,omitempty"`  // "": a note on the whole farm
	Zone   string    `json:"zone,omitempty"` // "": the bin's living zones
	What   JotKind   `json:"what"`
	Kg     float64   `json:"kg,omitempty"`
	Litres float64   `json:"litres,omitempty"`
	Of     string    `json:"of,omitempty"`    // kind of food, or a species for stocked
	To     string    `json:"to,omitempty"`    // sifted: the tub that received the castings
	By     string    `json:"by,omitempty"`    // who, where that is known; else command, mqtt or page
	Words  string    `json:"words,omitempty"` // noted: as the keeper wrote them

	// Uncertain: it waited somewhere on its way and says no time of its own; At is
	// its arrival, and it was done before that.
	Uncertain bool `json:"uncertain,omitempty"`
}

// Spelled is a jot in the words of the jot command, "fed 2 kg of grain", its numbers
// written by number.
func (j Jot) Spelled(number func(float64) string) string {
	return j.Said(func(kg float64) string { return number(kg) + " kg" }, func(litres float64) string { return number(litres) + " L" })
}

// Said is a jot in words that fit after its place, "fed 2 kg of grain", its amounts
// written by mass and volume.
func (j Jot) Said(mass, volume func(float64) string) string {
	s, of := string(j.What), " "
	if j.Kg != 0 {
		s, of = s+" "+mass(j.Kg), " of "
	}
	if j.Litres != 0 {
		s, of = s+" "+volume(j.Litres), " of "
	}
	if j.Of != "" {
		s += of + j.Of
	}
	if j.To != "" {
		s += " to " + j.To
	}
	if j.Words != "" {
		s += ": " + j.Words
	}
	return s
}
