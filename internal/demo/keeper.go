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
	(*Sim).careForBed, (*Sim).careForStack, (*Sim).careForCabinet, (*Sim).careForTrough,
	(*Sim).careForCrate, (*Sim).careForBarrel, (*Sim).careForBatteries,
}

const stopEvery = 8 * time.Minute

// next is when the keeper comes to the next place.
func (k keeper) next(origin time.Time) time.Time {
	return origin.Add(firstRound + time.Duration(k.round)*roundEvery + time.Duration(k.place)*stopEvery)
}

// stop does the work of one place.
func (s *Sim) stop(t time.Time) {
	stops[s.keeper.place](s, t)
	s.keeper.place++
	if s.keeper.place == len(stops) {
		s.keeper.place = 0
		s.keeper.round++
	}
}

// feel is the moisture of a heap as the keeper's hand has it: within a point or
// two.
func (k keeper) feel(h *physics.Heap, place string) float64 {
	return h.Moisture() + k.dice.Named(place).Between(int64(k.round), -1.5, 1.5)
}

// Foodstuffs of the nursery, from memory of kitchen tables; the quick and slow
// shares are a choice.
var (
	grain   = physics.Foodstuff{Dry: 0.88, Quick: 0.75, Slow: 0.15}
	scraps  = physics.Foodstuff{Dry: 0.15, Quick: 0.55, Slow: 0.30}
	oats    = physics.Foodstuff{Dry: 0.90, Quick: 0.75, Slow: 0.15}
	bedding = physics.Foodstuff{Dry: 0.90, Quick: 0.01, Slow: 0.60}
)

// careForBed sifts the far end when it feels right and feeds the near end with
// grain every fourth round, or later while it is too warm: less and more by
// turns, of which the more runs hot.
func (s *Sim) careForBed(t time.Time) {
	if s.keeper.feel(s.site.far, "far") <= siftAtPct {
		s.sift(t)
	}
	if s.keeper.round >= s.keeper.grainOn && s.site.near.TempC() < 24 {
		kg := [...]float64{1.4, 2.6}[s.keeper.grains%2]
		s.feed(t, "bed/near", s.site.near, grain, "grain", kg)
		s.keeper.grains++
		s.keeper.grainOn = s.keeper.round + 4
	}
	s.water(t, "bed/near", s.site.near, wish{below: 73, upTo: 75.5, jugL: 0.5})
}

// careForStack feeds one tray after the other and waters them all.
func (s *Sim) careForStack(t time.Time) {
	i := s.keeper.round % len(s.site.trays)
	s.feed(t, "stack/"+trayZones[i], s.site.trays[i], scraps, "scraps", 0.4)
	for i, tray := range s.site.trays {
		s.water(t, "stack/"+trayZones[i], tray, wish{below: 75, upTo: 79, jugL: 0.25})
	}
}

// trayZones are the zones of the stack by tray, from the lowest.
var trayZones = [3]string{"bottom", "middle", "top"}

func (s *Sim) careForCabinet(t time.Time) {
	if s.keeper.round%2 == 0 {
		s.feed(t, "cabinet", s.site.box, oats, "oats", 0.12)
	}
	s.water(t, "cabinet", s.site.box, wish{below: 77.5, upTo: 80, jugL: 0.25})
}

func (s *Sim) careForTrough(t time.Time) {
	if s.keeper.round%2 == 1 {
		s.feed(t, "trough", s.site.trough, scraps, "scraps", 1.5)
	}
	s.water(t, "trough", s.site.trough, wish{below: 73, upTo: 78, jugL: 0.5})
}

func (s *Sim) careForCrate(t time.Time) {
	s.water(t, "crate", s.site.crate, wish{below: 40, upTo: 46, jugL: 0.5})
}

func (s *Sim) careForBarrel(t time.Time) {
	s.water(t, "barrel", s.site.barrel, wish{below: 41, upTo: 46, jugL: 0.5})
}

// careForBatteries changes what has been low for a while: the keeper comes with
// the new one a round after hearing of it.
func (s *Sim) careForBatteries(t time.Time) {
	if s.batteries.crateV(t) < crateLowV-0.15 {
		s.batteries.crate = t
	}
	if s.batteries.shedPct(t) < shedLowPct-3 {
		s.batteries.shed = t
	}
}

// A wish is how moist the keeper wants a place.
type wish struct {
	below float64 // % at which it gets water
	upTo  float64 // % it is brought to
	jugL  float64 // what can be measured
}

// water brings a heap to the wish, but by no more than a seventh of the water
// it holds in one visit.
func (s *Sim) water(t time.Time, place string, h *physics.Heap, w wish) {
	felt := s.keeper.feel(h, place)
	if felt >= w.below {
		return
	}
	litres := min(h.DryKg()*(physics.Ratio(w.upTo)-physics.Ratio(felt)), h.WaterKg()/7)
	s.pour(t, place, h, max(w.jugL, math.Round(litres/w.jugL)*w.jugL))
}

func (s *Sim) pour(t time.Time, place string, h *physics.Heap, litres float64) {
	h.Put(physics.Water(litres, s.site.airs.shed.TempC))
	s.jot(t, place, jot{What: "watered", Amount: litre(litres)})
}

func (s *Sim) feed(t time.Time, place string, h *physics.Heap, f physics.Foodstuff, of string, kg float64) {
	h.Put(f.Portion(kg, s.site.airs.shed.TempC))
	s.jot(t, place, jot{What: "fed", Amount: kilo(kg), Of: of, At: t.Format(time.RFC3339)})
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
	site := s.site
	lot := site.far.Take(siftShare)
	tub := s.tubFor(t, lot.DryKg/castingsDryKgL)
	s.jot(t, "bed/far", jot{What: "sifted", Amount: litre(half(lot.DryKg / castingsDryKgL)), To: tub.name})
	tub.heap.Put(lot)
	site.far.Put(site.near.Take(lot.DryKg / site.near.DryKg()))

	const fresh, soak = 6.0, 10.0 // kg of bedding, litres to soak it
	site.near.Put(bedding.Portion(fresh, site.airs.shed.TempC))
	s.jot(t, "bed/near", jot{What: "bedded", Amount: kilo(fresh)})
	s.pour(t, "bed/near", site.near, soak)
}

type tub struct {
	name string
	heap *physics.Heap
}

// tubFor finds room for so many litres of castings: in the crate, else in the
// barrel, which is potted up first when it is full.
func (s *Sim) tubFor(t time.Time, litres float64) tub {
	if s.site.crate.DryKg()/castingsDryKgL+litres <= crateFillsL {
		return tub{"crate", s.site.crate}
	}
	if s.site.barrel.DryKg()/castingsDryKgL+litres > barrelFillsL {
		s.site.barrel.Take(0.99) // what sticks to the wall stays
		s.jot(t, "barrel", jot{What: "emptied"})
	}
	return tub{"barrel", s.site.barrel}
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
func (s *Sim) jot(t time.Time, place string, j jot) {
	body, err := json.Marshal(j)
	if err != nil {
		panic("demo: a jot of plain strings did not marshal: " + err.Error())
	}
	at := t.Add(time.Minute)
	if n := len(s.said); n > 0 {
		if after := s.said[n-1].At.Add(20 * time.Second); after.After(at) {
			at = after
		}
	}
	s.said = append(s.said, Message{At: at, Topic: Prefix + "/jot/" + place, Payload: body})
}

func half(v float64) float64 { return math.Round(v*2) / 2 }

func litre(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) + " L" }

func kilo(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) + " kg" }
