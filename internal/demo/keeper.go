package demo

import (
	"encoding/json"
	"math"
	"strconv"
	"time"

	"binwatchd/internal/physics"
)

// A keeper walks round the nursery every seventh morning, does what each place
// asks for by look and feel, and writes it down by phone.
type keeper struct {
	dice  physics.Dice
	round int // rounds done
	place int // stops done in the round that is on

	grains  int // feeds of grain given
	grainOn int // round of the next one
}

// stops are the places of a round, in the order of the walk.
var stops = []func(*Sim, time.Time){
	(*Sim).careForBed, (*Sim).careForStack,
	func(s *Sim, t time.Time) { s.tend(t, s.site.box) },
	func(s *Sim, t time.Time) { s.tend(t, s.site.trough) },
	func(s *Sim, t time.Time) { s.tend(t, s.site.crate) },
	func(s *Sim, t time.Time) { s.tend(t, s.site.barrel) },
	(*Sim).careForBatteries,
}

const (
	firstRound = 1*day + 9*time.Hour // after the story's origin
	roundEvery = 7 * day
	stopEvery  = 8 * time.Minute
)

// next is when the keeper comes to the next place.
func (k keeper) next(origin time.Time) time.Time {
	return origin.Add(firstRound + time.Duration(k.round)*roundEvery + time.Duration(k.place)*stopEvery)
}

// stop does the work of one place.
func (s *Sim) stop(t time.Time) {
	stops[s.keeper.place](s, t)
	if s.keeper.place++; s.keeper.place == len(stops) {
		s.keeper.place, s.keeper.round = 0, s.keeper.round+1
	}
}

// feel is the moisture of a heap as the keeper's hand has it: within a point or
// two.
func (k keeper) feel(c *container, place string) float64 {
	return c.Moisture() + k.dice.Named(place).Between(int64(k.round), -1.5, 1.5)
}

// A food is what worms are fed with, in the keeper's word.
type food struct {
	name string
	physics.Foodstuff
}

// Foodstuffs of the nursery, from memory of kitchen tables; the quick and slow
// shares are a choice.
var (
	grain   = food{"grain", physics.Foodstuff{Dry: 0.88, Quick: 0.75, Slow: 0.15}}
	scraps  = food{"scraps", physics.Foodstuff{Dry: 0.15, Quick: 0.55, Slow: 0.30}}
	oats    = food{"oats", physics.Foodstuff{Dry: 0.90, Quick: 0.75, Slow: 0.15}}
	bedding = physics.Foodstuff{Dry: 0.90, Quick: 0.01, Slow: 0.60}
)

// A meal is given every second round.
type meal struct {
	of food
	kg float64 // 0: nothing is fed
	on int     // 0: in even rounds; 1: in odd ones
}

// tend feeds and waters a container as it is used to.
func (s *Sim) tend(t time.Time, c *container) {
	if c.meal.kg > 0 && s.keeper.round%2 == c.meal.on {
		s.feed(t, c, c.meal.of, c.meal.kg)
	}
	s.water(t, c)
}

// careForBed sifts the far end when it feels right and feeds the near end with
// grain every fourth round, or later while it is too warm: less and more by
// turns, of which the more runs hot.
func (s *Sim) careForBed(t time.Time) {
	if s.keeper.feel(s.site.far, "far") <= siftAtPct {
		s.sift(t)
	}
	if s.keeper.round >= s.keeper.grainOn && s.site.near.TempC() < 24 {
		s.feed(t, s.site.near, grain, [...]float64{1.4, 2.6}[s.keeper.grains%2])
		s.keeper.grains++
		s.keeper.grainOn = s.keeper.round + 4
	}
	s.water(t, s.site.near)
}

// careForStack feeds one tray after the other and waters them all.
func (s *Sim) careForStack(t time.Time) {
	trays := s.site.trays
	s.feed(t, trays[s.keeper.round%len(trays)], scraps, 0.4)
	for _, tray := range trays {
		s.water(t, tray)
	}
}

// careForBatteries changes what has been low for a while: the keeper comes with
// the new one a round after hearing of it.
func (s *Sim) careForBatteries(t time.Time) {
	for _, b := range []*battery{&s.crateV, &s.shedPct} {
		if b.level(t) < b.changeAt {
			b.changed = t
		}
	}
}

// A wish is how moist the keeper wants a place.
type wish struct {
	below float64 // % at which it gets water
	upTo  float64 // % it is brought to
	jugL  float64 // what can be measured
}

// water brings a container to its wish, but by no more than a seventh of the water
// it holds in one visit.
func (s *Sim) water(t time.Time, c *container) {
	felt, w := s.keeper.feel(c, c.place), c.wish
	if felt >= w.below {
		return
	}
	litres := min(c.DryKg()*(physics.Ratio(w.upTo)-physics.Ratio(felt)), c.WaterKg()/7)
	s.pour(t, c, max(w.jugL, math.Round(litres/w.jugL)*w.jugL))
}

func (s *Sim) pour(t time.Time, c *container, litres float64) {
	c.Put(physics.Water(litres, s.site.shed.air.TempC))
	s.jot(t, c, jot{What: "watered", Amount: amount(litres, "L")})
}

func (s *Sim) feed(t time.Time, c *container, f food, kg float64) {
	c.Put(f.Portion(kg, s.site.shed.air.TempC))
	s.jot(t, c, jot{What: "fed", Amount: amount(kg, "kg"), Of: f.name, At: t.Format(time.RFC3339)})
}

const (
	siftAtPct      = 40.0 // the keeper likes it no wetter
	siftShare      = 0.35 // of the far end at once
	castingsDryKgL = 0.38 // dry kg in a litre of sifted castings
	crateFillsL    = 55.0
	barrelFillsL   = 185.0
)

// sift takes a third of the far end through the screen, moves worked stuff from
// the near end into its place and beds the near end.
func (s *Sim) sift(t time.Time) {
	near, far := s.site.near, s.site.far
	lot := far.Take(siftShare)
	litres := lot.DryKg / castingsDryKgL
	tub := s.tubFor(t, litres)
	s.jot(t, far, jot{What: "sifted", Amount: amount(math.Round(litres*2)/2, "L"), To: tub.place})
	tub.Put(lot)
	far.Put(near.Take(lot.DryKg / near.DryKg()))

	const fresh, soak = 6.0, 10.0 // kg of bedding, litres to soak it
	near.Put(bedding.Portion(fresh, s.site.shed.air.TempC))
	s.jot(t, near, jot{What: "bedded", Amount: amount(fresh, "kg")})
	s.pour(t, near, soak)
}

// tubFor finds room for so many litres of castings: in the crate, else in the
// barrel, which is potted up first when it is full.
func (s *Sim) tubFor(t time.Time, litres float64) *container {
	crate, barrel := s.site.crate, s.site.barrel
	if crate.DryKg()/castingsDryKgL+litres <= crateFillsL {
		return crate
	}
	if barrel.DryKg()/castingsDryKgL+litres > barrelFillsL {
		barrel.Take(0.99) // what sticks to the wall stays
		s.jot(t, barrel, jot{What: "emptied"})
	}
	return barrel
}

// A jot is the body of a logbook line as it goes over MQTT.
type jot struct {
	What   string `json:"what"`
	Amount string `json:"amount,omitempty"`
	Of     string `json:"of,omitempty"`
	To     string `json:"to,omitempty"`
	At     string `json:"at,omitempty"`
}

// Prefix is the first level of the nursery's jot topics.
const Prefix = "binwatch"

// jot writes a line that is sent a minute or more after t, each line of a stop
// twenty seconds after the one before.
func (s *Sim) jot(t time.Time, c *container, j jot) {
	body, err := json.Marshal(j)
	if err != nil {
		panic("demo: a jot of plain strings did not marshal: " + err.Error())
	}
	at := t.Add(time.Minute)
	for _, m := range s.said {
		if after := m.At.Add(20 * time.Second); after.After(at) {
			at = after
		}
	}
	s.said = append(s.said, Message{At: at, Topic: Prefix + "/jot/" + c.place, Payload: body})
}

func amount(v float64, unit string) string { return strconv.FormatFloat(v, 'f', -1, 64) + " " + unit }
