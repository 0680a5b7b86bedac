package scenariotest

import (
	"fmt"
	"math"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/physics"
)

// A Menu is how a keeper feeds a bin.
type Menu string

const (
	Usual     Menu = "usual"     // once, what so many worms are used to
	Daily     Menu = "daily"     // a bucket a day for six days, for few worms
	Heap      Menu = "heap"      // one feed far too big for the worms
	Trifle    Menu = "trifle"    // a handful for very many worms
	Cardboard Menu = "cardboard" // a usual feed, and torn cardboard soon after
	Mixed     Menu = "mixed"     // five weeks of this and that
)

// Menus are all of them.
var Menus = []Menu{Usual, Daily, Heap, Trifle, Cardboard, Mixed}

// A FeedCase is one bin that is fed and then left alone until all is eaten.
//
// Its kinetics are not the program's: food is hard until microbes have softened
// it, faster in the warm and slower where a heap runs short of air; they burn some
// of what is soft; worms take the rest by a Michaelis–Menten law with a taste for
// each kind, and grow or shrink on it. The program knows neither of two states nor
// of air, saturates by another law, and is told the worms' mass at the beginning,
// as a keeper estimates it.
type FeedCase struct {
	Menu  Menu
	Seed  uint64
	Start time.Time
}

// String names the case for tables and test names.
func (c FeedCase) String() string { return fmt.Sprintf("%s-%d", c.Menu, c.Seed) }

// FeedSuite is n cases of a menu with seeds that count up from the one given.
func FeedSuite(m Menu, n int, seed uint64, start time.Time) []FeedCase {
	cases := make([]FeedCase, n)
	for i := range cases {
		cases[i] = FeedCase{m, seed + uint64(i), start}
	}
	return cases
}

// A FeedRun is what came of a case.
type FeedRun struct {
	Case   FeedCase
	Jots   []farm.Jot // oldest first
	ToldKg float64    // of worms, as the keeper estimates
	Given  Signal     // kg of food given so far, bedding aside
	Left   Signal     // kg of it not eaten yet
	TempC  Signal
	dice   physics.Dice
}

// nearlyEaten is the part of the most that a bin has held at which it is nearly
// eaten: the program's own, for it says when feed is due.
const nearlyEaten = 0.15

// Due is when what is left is nearly gone, after the last feed.
func (r *FeedRun) Due() (time.Time, bool) {
	most, _ := r.Left.Max(r.Left.From, r.Left.To())
	return r.Left.Falls(nearlyEaten*most, r.LastFed())
}

// LastFed is when food was given last; bedding is none.
func (r *FeedRun) LastFed() (last time.Time) {
	for _, j := range r.Jots {
		if _, eaten := softening[j.Of]; eaten {
			last = j.At
		}
	}
	return last
}

// LeftPart is what is left at a time of the most that the bin has held until then.
func (r *FeedRun) LeftPart(at time.Time) float64 {
	most, _ := r.Left.Max(r.Left.From, at)
	return r.Left.At(at) / max(most, 1e-9)
}

// softening is the part of a kind of food that grows soft in a day at 25 °C with air
// enough: half of it in half a day where it is ground fine, in a week where it is
// whole grain. From memory of what lies in a bed; no source.
var softening = map[string]float64{"mash": 1.2, "fruit": 0.55, "scraps": 0.30, "coffee": 0.20, "manure": 0.14, "grain": 0.10}

// tastes are how gladly worms take what is soft. A choice.
var tastes = map[string]float64{"mash": 1, "fruit": 1.3, "scraps": 1, "coffee": 0.7, "manure": 1, "grain": 0.8}

// A helping is one feed in the bin.
type helping struct {
	of         string
	hard, soft float64 // kg
	paper      bool    // lies there and is nobody's food
}

// A feast is a bin while it is simulated.
type feast struct {
	*FeedRun
	helpings []helping
	wormsKg  float64
	given    float64
	pace     float64 // kg that a kg of worms eats a day at its best
	halfKg   float64 // soft food at which they eat half of that
	stuffyKg float64 // of food at which half the air is gone
	burnt    float64 // part of soft food that microbes burn in a day at 25 °C
	hardness float64 // factor on softening
}

const feastStep = time.Hour

// feastGoesOn is how long a run goes on once little is left: what is told later counts
// as never told.
const feastGoesOn = 60 * 24 * time.Hour

// Run lives the case through until little has been left for long, 200 days at most.
func (c FeedCase) Run() *FeedRun {
	d := physics.Dice(c.Seed).Named("feeding " + string(c.Menu))
	f := &feast{
		FeedRun: &FeedRun{Case: c, dice: d},
		// The Alabama extension has worms eat 25 to 50 % of their mass a day; these are
		// spread wider.
		pace: d.Between(1, 0.25, 0.6), halfKg: d.Between(2, 0.02, 0.15), stuffyKg: d.Between(3, 6, 25),
		burnt: d.Between(4, 0.005, 0.04), hardness: math.Exp(0.3 * d.Normal(5)),
	}
	for _, s := range []*Signal{&f.Given, &f.Left, &f.TempC} {
		*s = Signal{From: c.Start, Step: feastStep}
	}
	f.plan()
	jots := slices.Clone(f.Jots)
	room, swing, front := d.Between(6, 13, 24), d.Between(7, 0.5, 3), 0.0
	var over time.Time
	for h := range 200 * 24 {
		at := c.Start.Add(time.Duration(h) * feastStep)
		for ; len(jots) > 0 && !jots[0].At.After(at); jots = jots[1:] {
			f.put(jots[0])
		}
		front += -front/72 + 0.25*d.Named("front").Normal(int64(h))
		tempC := room + front + swing*math.Sin(2*math.Pi*float64(h%24-9)/24)
		f.TempC.V, f.Given.V, f.Left.V = append(f.TempC.V, tempC), append(f.Given.V, f.given), append(f.Left.V, f.left())
		switch {
		case len(jots) > 0 || f.left() > nearlyEaten*f.given:
			over = at.Add(feastGoesOn)
		case at.After(over):
			return f.FeedRun
		}
		f.step(tempC, feastStep.Hours()/24)
	}
	return f.FeedRun
}

// plan writes the logbook and sets the worms in.
func (f *feast) plan() {
	d := f.dice.Named("plan")
	kinds := []string{"mash", "fruit", "scraps", "coffee", "manure", "grain"}
	kind := func(i int64, of ...string) string { return of[int(d.Uniform(i)*float64(len(of)))] }
	give := func(days float64, what farm.JotKind, kg float64, of string) {
		at := f.Case.Start.Add(48*time.Hour + time.Duration(days*24*60)*time.Minute)
		f.Jots = append(f.Jots, farm.Jot{At: at, Bin: BinName, Zone: ZoneName, What: what, Kg: math.Round(100*kg) / 100, Of: of, By: "mqtt"})
	}
	f.wormsKg = d.Between(100, 0.5, 2)
	switch f.Case.Menu {
	case Usual:
		give(0, farm.Fed, f.wormsKg*d.Between(1, 0.5, 2), kind(0, kinds...))
	case Daily:
		f.wormsKg = d.Between(100, 0.3, 0.6)
		for i := range 6 {
			give(float64(i), farm.Fed, d.Between(int64(1+i), 0.7, 1.3), kind(0, "mash", "fruit", "scraps"))
		}
	case Heap:
		f.wormsKg = d.Between(100, 0.2, 0.5)
		give(0, farm.Fed, d.Between(1, 4, 7), kind(0, kinds...))
	case Trifle:
		f.wormsKg = d.Between(100, 1.5, 3)
		give(0, farm.Fed, d.Between(1, 0.05, 0.2), kind(0, kinds...))
	case Cardboard:
		give(0, farm.Fed, f.wormsKg*d.Between(1, 0.5, 2), kind(0, "mash", "fruit", "scraps", "coffee"))
		give(d.Between(2, 0.1, 4), farm.Fed, d.Between(3, 0.1, 1), kind(4, "cardboard", "straw", "leaves", "paper"))
	case Mixed:
		for i := range int64(5) {
			give(float64(7*i)+d.Between(10+i, -1, 1), farm.Fed, f.wormsKg*d.Between(20+i, 0.3, 1.5), kind(30+i, kinds...))
		}
	}
	f.ToldKg = math.Round(10*f.wormsKg*math.Exp(0.2*d.Normal(101))) / 10
}

func (f *feast) put(j farm.Jot) {
	_, eaten := softening[j.Of]
	f.helpings = append(f.helpings, helping{of: j.Of, hard: j.Kg, paper: !eaten})
	if eaten {
		f.given += j.Kg
	}
}

// left is the food in the bin, kg.
func (f *feast) left() (kg float64) {
	for _, h := range f.helpings {
		if !h.paper {
			kg += h.hard + h.soft
		}
	}
	return kg
}

// step lets days pass.
func (f *feast) step(tempC, days float64) {
	air := f.stuffyKg / (f.stuffyKg + f.left())
	microbes := physics.Vigour(tempC) * air
	wanted := 0.0
	for _, h := range f.helpings {
		wanted += tastes[h.of] * h.soft
	}
	// As busy as can be at 23 °C, half as busy 9 K off; a choice, and not the program's curve.
	busy := math.Exp2(-math.Pow((tempC-23)/9, 2))
	bite := days * f.pace * busy * f.wormsKg / (f.halfKg + wanted) // kg of each kg wanted
	meal := 0.0
	for i := range f.helpings {
		h := &f.helpings[i]
		if h.paper {
			continue
		}
		softened := h.hard * -math.Expm1(-days*softening[h.of]*f.hardness*microbes)
		gone := h.soft * -math.Expm1(-bite*tastes[h.of]-days*f.burnt*microbes)
		meal += gone
		h.hard, h.soft = h.hard-softened, h.soft+softened-gone
	}
	// They gain a twentieth of what they eat and live on a hundredth of themselves a
	// day; bedding keeps them from starving. A choice.
	f.wormsKg += 0.05*meal - 0.01*busy*days*max(0, f.wormsKg-0.7*f.ToldKg)
}

// Farm is the case's farm as a keeper would write it.
func (r *FeedRun) Farm(species []farm.Species, feeds []farm.Feed) farm.Farm {
	as := Run{Case: Case{Kind: Quiet, Bin: Bed, Every: feastStep}, VolumeL: 100}
	f := as.Farm(species, feeds)
	f.Name, f.Bins[0].WormsKg = r.Case.String(), r.ToldKg
	return f
}

// Events are what the rules get: hourly readings and the logbook, in order.
func (r *FeedRun) Events() []farm.Event {
	out := []farm.Event{{Arrived: r.Case.Start, Kind: farm.EventStart}, {Arrived: r.Case.Start, Kind: farm.EventLink, Up: true}}
	for _, j := range r.Jots {
		out = append(out, farm.Event{Arrived: j.At.Add(time.Minute), Kind: farm.EventJot, Jot: j})
	}
	for h, tempC := range r.TempC.V {
		at := r.Case.Start.Add(time.Duration(h)*feastStep + 20*time.Second)
		say := func(probe string, at time.Time, v float64) {
			out = append(out, farm.Event{Arrived: at, Kind: farm.EventReading, Reading: farm.Reading{Probe: probe, At: at, Raw: v, Value: v}})
		}
		say(TempProbe, at, tempC)
		say(MoistProbe, at.Add(20*time.Second), 76+0.5*r.dice.Named("moist").Normal(int64(h)))
	}
	slices.SortStableFunc(out, func(a, b farm.Event) int { return a.Arrived.Compare(b.Arrived) })
	return out
}
