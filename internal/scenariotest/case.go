package scenariotest

import (
	"fmt"
	"slices"
	"time"

	"binwatchd/internal/physics"
)

// Kind is what happens in a case.
type Kind string

const (
	Quiet   Kind = "quiet"   // a keeper waters and feeds a little every week; nothing goes wrong
	Heating Kind = "heating" // after three quiet days a feed is given that heats, more or less
	Weekly  Kind = "weekly"  // grain every week or so, now and then more half a day later; some of it heats
	Drying  Kind = "drying"  // nobody waters
	Sifting Kind = "sifting" // finished material dries through its window
)

// Bin is a container with what is usually in it.
type Bin string

const (
	Bed    Bin = "bed"    // 170 L in thin wood
	Barrel Bin = "barrel" // 100 L, half of a barrel on its side
	Tray   Bin = "tray"   // 14 L of a stack
	Tub    Bin = "tub"    // 60 L of stored castings; quiet and drying only
)

// Room is where the bin stands.
type Room string

const (
	Cellar     Room = "cellar"     // hardly knows the day
	House      Room = "house"      // heated to about 19 °C
	Shed       Room = "shed"       // follows the weather half a day late
	Glasshouse Room = "glasshouse" // swings widely with the sun
	Yard       Room = "yard"       // the open air
)

// Probe is how good the bin's probes are.
type Probe string

const (
	Fine   Probe = "fine"   // sixteenths of a degree, calibrated well
	Cheap  Probe = "cheap"  // noisy, feels the day, contact comes and goes, calibrated badly
	Coarse Probe = "coarse" // half degrees and whole points
)

// A Case is one bin's time.
type Case struct {
	Kind    Kind
	Bin     Bin
	Room    Room
	Probe   Probe
	Seed    uint64
	Start   time.Time
	Days    int           // at most; dryings and siftings end three days after their last crossing
	Every   time.Duration // of each probe; 0 is ten minutes
	Phase   time.Duration // how long after each whole Every it speaks
	Warmth  Warmth        // what warms it from outside, besides its room's usual days
	FeedKg  float64       // of grain, heating only; 0 lets the seed choose
	Ambient bool          // whether a probe hangs in the room's air
}

// String names the case for tables and test names.
func (c Case) String() string {
	air := "blind"
	if c.Ambient {
		air = "air"
	}
	return fmt.Sprintf("%s-%s-%s-%s-%s-%d", c.Kind, c.Bin, c.Room, c.Probe, air, c.Seed)
}

// Suite is n cases of a kind, going through rooms, bins and probes so that any
// dozen of them is mixed. Their seeds count up from the one given.
func Suite(kind Kind, n int, seed uint64, start time.Time) []Case {
	bins := binsFor(kind)
	rooms := []Room{Cellar, Shed, House, Glasshouse}
	probes := []Probe{Fine, Cheap, Coarse}
	cases := make([]Case, n)
	for i := range cases {
		row := i / len(rooms)
		cases[i] = Case{
			Kind: kind, Room: rooms[i%len(rooms)], Bin: bins[row%len(bins)],
			Probe:   probes[(row+row/len(bins))%len(probes)],
			Ambient: physics.Dice(seed).Named("ambient").Uniform(int64(i)) < 0.5,
			Seed:    seed + uint64(i), Start: start, Days: daysOf(kind),
		}
	}
	return cases
}

func binsFor(kind Kind) []Bin {
	switch kind {
	case Quiet, Drying:
		return []Bin{Bed, Tub, Barrel, Tray, Bed}
	case Heating:
		return []Bin{Bed, Barrel, Bed}
	}
	return []Bin{Bed, Tray, Barrel}
}

func daysOf(kind Kind) int {
	switch kind {
	case Quiet:
		return 30
	case Heating:
		return 10
	}
	return 75
}

// Paced are the cases with probes that speak at another pace, each at a minute
// of its own.
func Paced(cases []Case, every time.Duration) []Case {
	out := slices.Clone(cases)
	for i := range out {
		out[i].Every = every
		out[i].Phase = (every * time.Duration(i*37%60) / 60).Truncate(time.Second)
	}
	return out
}
