package demo

import (
	"encoding/json"
	"math"
	"strconv"
	"time"

	"binwatchd/internal/physics"
)

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
