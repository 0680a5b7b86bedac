// Package farm holds the nouns of a worm farm: bins, zones, probes, readings,
// jots, conditions and changes, and the words and numbers people read.
//
// It is the leaf of the import graph: every other package may import farm and
// farm imports nothing of the project. It does no I/O, reads no clock and
// keeps no state. Inside the program every temperature is in °C, every
// moisture is water as a percentage of fresh mass (wet basis), masses are in
// kg and volumes in L; what a person reads is turned into their own units at
// the edge by [Units].
//
// In reading order: farm.go is what the keeper configures, quantities.go and
// conditions.go are the tables of what can be measured and of what can be wrong.
// event.go is what happens, jots.go the table of what a keeper can write down,
// change.go what the rules say of it, view.go how it all stands. species.go is of
// the worms. place.go finds what a name means, people.go who somebody is; units.go and say.go write numbers,
// amounts and times for people.
package farm

import (
	"cmp"
	"slices"
	"time"
)

// A Farm is everything a keeper has told us about one site: its bins, its
// probes and the species table in force. It is a value made by config and
// never changed afterwards; a reload makes a new one.
type Farm struct {
	Name     string
	Units    Units
	Location *time.Location
	Probes   []Probe   // in the order of the file
	Bins     []Bin     // in the order of the file
	Rooms    []Room    // in the order of the file; a keeper calls them places
	Species  []Species // the table in force: the published ones, then the keeper's own
	Feeds    []Feed    // paces of food in force
	Needs    []Need    // castings wanted by a date
	Vessels  []Vessel  // the keeper's own measures
	People   []Person  // those who look after it; none: nobody is named
}

// A Bin is one container: a bed, a stack of trays, a barrel, a tub.
type Bin struct {
	Name    string
	Species []Share // empty for a tub of castings
	VolumeL float64 // whole container's contents, L; 0 when not given
	WormsKg float64 // live worm mass, kg; 0 when not given
	Room    string  // name of the room it stands in; "" when none is given
	Ambient string  // id of the probe in the room's air; "" when there is none
	Zones   []Zone  // at least one, in the order of the file
	Named
}

// A Room is a shed, a cellar or a yard whose bins share one air. The keeper's word
// for it, in the configuration, in labels and in tags, is place; in the program a
// [Place] is an address: a bin or one of its zones.
type Room struct {
	Name  string
	Air   string // id of the probe in its air; "" when there is none
	Ahead string // MQTT topic on which its weather comes ahead; "" when none does
}

// A Share is how much of a bin's worms are of one species, by mass.
type Share struct {
	Species  string
	Fraction float64 // 0..1; the shares of a bin add up to 1
}

// A Zone is a part of a bin that has its own aim.
type Zone struct {
	Name      string
	Aim       Aim
	Probes    []string
	Share     float64              // of the bin's volume and dry mass, 0..1
	DryMassKg float64              // as told by the keeper; 0 when not given
	HoldsL    float64              // what stood in it when it was first watched, L; 0 when not given
	Bands     map[Quantity]Bands   // the zone's own, replacing the species'; those not given are left out
	Limits    map[Quantity]Band    // of quantities that have no bands; those not given are left out
	Patience  time.Duration        // how long a breach must last
	Margin    map[Quantity]float64 // how far back inside a limit counts as back, in the inner unit
	LookAhead LookAhead
	Retired   time.Time // the farm's midnight from which it is out of use; zero: it is in use
	Named
}

// IsRetired tells whether a zone is out of use at t.
func (z *Zone) IsRetired(t time.Time) bool { return !z.Retired.IsZero() && !t.Before(z.Retired) }

// IsRetired tells whether every zone of a bin is out of use at t.
func (b *Bin) IsRetired(t time.Time) bool {
	return len(b.Zones) > 0 && !slices.ContainsFunc(b.Zones, func(z Zone) bool { return !z.IsRetired(t) })
}

// InUse is the farm without the zones that are retired at t, and without the probes that
// stand in no other.
func (f *Farm) InUse(t time.Time) *Farm {
	retired := func(z Zone) bool { return z.IsRetired(t) }
	if !slices.ContainsFunc(f.Bins, func(b Bin) bool { return slices.ContainsFunc(b.Zones, retired) }) {
		return f
	}
	used := *f
	used.Bins = nil
	for _, b := range f.Bins {
		if b.Zones = slices.DeleteFunc(slices.Clone(b.Zones), retired); len(b.Zones) > 0 {
			used.Bins = append(used.Bins, b)
		}
	}
	used.Probes = slices.DeleteFunc(slices.Clone(f.Probes), func(p Probe) bool {
		apart := func(id string) bool {
			return f.ZoneOf(id).Bin != "" && used.ZoneOf(id).Bin == "" && used.AirOf(id) == ""
		}
		return apart(p.ID) || len(p.Of) > 0 && !slices.ContainsFunc(p.Of, func(of string) bool { return !apart(of) })
	})
	return &used
}

// A Named is what a bin, a zone or a probe was called before.
type Named struct {
	Was []string // its names before this one
}

// LookAhead says how far ahead a forecast may warn.
type LookAhead struct {
	Heating time.Duration `yaml:"heating" least:"0s" most:"7d" default:"12h" help:"Before a feed heats past the survive limit; 0s for no such forecast."`
	Cooling time.Duration `yaml:"cooling" least:"0s" most:"30h" default:"18h" help:"Before the room cools the bin past the survive limit; 0s for no such forecast."`
	Warming time.Duration `yaml:"warming" least:"0s" most:"30h" default:"18h" help:"Before the room warms it past the survive limit; 0s for no such forecast."`
	Drying  time.Duration `yaml:"drying" least:"0s" most:"60d" default:"7d" help:"Before moisture leaves the thrive band; 0s for no such forecast."`
}

// Aim is what a zone is for.
type Aim string

const (
	Living  Aim = "living"  // worms work here
	Sifting Aim = "sifting" // finished material drying until it can be sifted
	Keeping Aim = "keeping" // sifted castings kept alive
)

// Aims lists every aim, for checks and messages.
var Aims = []Aim{Living, Sifting, Keeping}

// A Band is a closed range of one quantity, in its inner unit. An end without a
// limit is infinite.
type Band struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Contains tells whether v lies in the band, its ends included.
func (b Band) Contains(v float64) bool { return b.Low <= v && v <= b.High }

// Middle is the point halfway between the ends.
func (b Band) Middle() float64 { return (b.Low + b.High) / 2 }

// Overlap is what two bands share; ok is false when they share nothing.
func (b Band) Overlap(c Band) (o Band, ok bool) {
	o = Band{max(b.Low, c.Low), min(b.High, c.High)}
	return o, o.Low <= o.High
}

// Bands are a thrive band, where worms or castings do well, inside a survive
// band, past which there is harm.
type Bands struct {
	Thrive  Band `json:"thrive" yaml:"thrive" kind:"a range of *" help:"Where they do well."`
	Survive Band `json:"survive" yaml:"survive" kind:"a range of *" help:"Past this there is harm; thrive lies inside."`
}

// IsZero tells whether no bands were given.
func (b Bands) IsZero() bool { return b == Bands{} }

// A Probe is one measured quantity at one place, and how to find it in what
// arrives over MQTT.
type Probe struct {
	ID          string
	Topic       string // MQTT topic filter, named parts already filled in
	Value       string // JSON Pointer to the number; "" takes the whole payload
	Time        string // JSON Pointer to the device's time stamp; "" when there is none
	Measures    Quantity
	Unit        Unit
	Every       time.Duration // how often it is meant to speak
	Calibration []Point       // by rising Raw; empty when the unit says it all
	Low         float64       // battery: the value below which it is low; 0 when not given
	Of          []string      // battery: the probes that run on it
	Alive       Alive         // where its device says that it is there; zero: nowhere
	Via         string        // gateway or board that it speaks through, by a name of the keeper's; "" when none is given
	Named
}

// An Alive is how a device says that it is there.
type Alive struct {
	Topic string   // one topic; "" for none
	Value string   // JSON Pointer to the word; "" takes the whole payload, or its only text
	Gone  []string // words that say it is gone; empty: the usual ones
}

// A Point ties a raw number to the true value, in the quantity's inner unit.
type Point struct{ Raw, Value float64 }

// A Feed is a kind of food in the keeper's own word, and the days it lasts
// worms at full activity.
type Feed struct {
	Kind string  `yaml:",name"`
	Days float64 `yaml:",value" kind:"a feed's pace"`
}

// A Vessel is a measure of the keeper's own: a pan of 2 qt, a scoop of 300 g.
type Vessel struct {
	Name  string `yaml:",name"`
	Holds Amount `yaml:",value" kind:"an amount"`
}

// An Amount is a mass or a volume; the other is 0.
type Amount struct{ Kg, Litres float64 }

// A Need is castings wanted by a day.
type Need struct {
	CastingsL float64
	By        time.Time // the farm's midnight at the start of that day
	For       string    // what it is for, in the keeper's words; "" where that was not told
}

// ProbeByID finds a probe; ok is false when the farm has none of that name.
func (f *Farm) ProbeByID(id string) (p Probe, ok bool) {
	return find(f.Probes, func(p *Probe) bool { return p.ID == id })
}

// BinByName finds a bin; ok is false when the farm has none of that name.
func (f *Farm) BinByName(name string) (b Bin, ok bool) {
	return find(f.Bins, func(b *Bin) bool { return b.Name == name })
}

// HasRoom tells whether there is a room of a name.
func (f *Farm) HasRoom(name string) bool {
	return slices.ContainsFunc(f.Rooms, func(r Room) bool { return r.Name == name })
}

// RoomOf is the name of the room that a bin stands in; "" where none is given, and
// for a bin that there is not.
func (f *Farm) RoomOf(bin string) string {
	b, _ := f.BinByName(bin)
	return b.Room
}

// SpeciesByID finds a row of the species table in force.
func (f *Farm) SpeciesByID(id string) (s Species, ok bool) {
	return find(f.Species, func(s *Species) bool { return s.ID == id })
}

// ZoneByName finds a zone of a bin.
func (b *Bin) ZoneByName(name string) (z Zone, ok bool) {
	return find(b.Zones, func(z *Zone) bool { return z.Name == name })
}

// Holds is how many litres go into a zone, or into the whole bin; 0 where that is not known.
func (b *Bin) Holds(zone string) float64 {
	z, _ := b.ZoneByName(zone)
	return b.VolumeL * cmp.Or(z.Share, 1)
}

// find gives the first that is meant.
func find[T any](all []T, meant func(*T) bool) (found T, ok bool) {
	for i := range all {
		if meant(&all[i]) {
			return all[i], true
		}
	}
	return found, false
}
