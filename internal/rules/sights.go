package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// A sighting is what a keeper saw, smelled or felt in a zone.
type sighting struct {
	What    farm.JotKind
	At      time.Time
	Samples []farm.FeelSample // by feel, of the probes that spoke then
	HatchBy time.Time         // by when eggs that were seen are hatched; zero: of anything else, or not known
}

const (
	maxSights  = 16
	sightShown = 14 * 24 * time.Hour // and as long as it keeps food or belief back
	halfFood   = 30 * 24 * time.Hour // few worms eat little
	feelOff    = 10                  // points that a hand may be off. A choice
	feltKept   = 14 * 24 * time.Hour // how long what was felt is held against a probe
	feltSoon   = 2 * time.Hour       // how late it may be written down to be held against what the probe says
)

const fewWorms farm.JotKind = "few worms"

// see takes in what a keeper saw: advice for some days, a point of calibration and
// a doubt of a probe that says otherwise, a date.
func (s *State) see(z *zone, j farm.Jot) {
	row, h := j.What.Row(), &z.Husbandry
	h.Sights = slices.DeleteFunc(h.Sights, func(o sighting) bool { return o.What == j.What })
	seen := sighting{What: j.What, At: j.At}
	if felt, ok := z.felt(row.Sight.Feel); ok && !j.Uncertain && s.Now.Sub(j.At) <= feltSoon {
		for _, p := range z.moist.probes {
			if p.fresh(j.At) {
				seen.Samples = append(seen.Samples, farm.FeelSample{Probe: p.spec.ID, Raw: p.Good.Raw, Low: felt.Low, High: felt.High})
				s.feelAgainst(p, j, felt)
			}
		}
	}
	if row.Sight.Eggs {
		seen.HatchBy = s.hatchBy(z, j.At)
	}
	h.Sights = keepNewest(h.Sights, seen, maxSights, func(a, b sighting) int { return a.At.Compare(b.At) })
}

// felt is the moisture that a feel stands for, % of fresh mass: right is what the zone
// thrives in, dry and wet lie past it by a hand's coarseness. Common practice, no
// source; that under 44 % is dusty is LSU AgCenter's of 2022, for compost.
func (z *zone) felt(feel farm.Feel) (band farm.Band, ok bool) {
	low, high := z.moist.below.mild(), z.moist.above.mild()
	if math.IsInf(low, 0) || math.IsInf(high, 0) {
		return band, false
	}
	const coarse, dusty = 2 * feelOff, 44
	switch feel {
	case farm.FeelsDry:
		return farm.Band{Low: max(0, low-coarse), High: low}, true
	case farm.FeelsRight:
		return farm.Band{Low: low, High: high}, true
	case farm.FeelsWet:
		return farm.Band{Low: high, High: min(100, high+coarse)}, true
	case farm.FeelsDusty:
		return farm.Band{Low: max(0, dusty-coarse), High: dusty}, true
	}
	return band, false
}

// handCounts is how long a hand speaks against a dose: moisture moves on. A choice.
const handCounts = 48 * time.Hour

// A hand is what somebody felt in a zone, and the moisture that it stands for.
type hand struct {
	farm.Band
	What farm.JotKind
	At   time.Time // zero: nobody felt anything
}

// handSays is the newest feel of the zone since something was done about its moisture.
func (z *zone) handSays(done, at time.Time) (h hand) {
	for _, seen := range slices.Backward(z.Husbandry.Sights) {
		band, ok := z.felt(seen.What.Row().Sight.Feel)
		if ok && seen.At.After(done) && at.Sub(seen.At) < handCounts {
			return hand{band, seen.What, seen.At}
		}
	}
	return h
}

func (s *State) sayHand(h hand, at time.Time) string {
	return fmt.Sprintf("It was noted as %s (%s)", h.What, s.farm.Dates().Day(h.At, at))
}

// A feltRecord is what was felt beside a probe that says otherwise.
type feltRecord struct {
	At   time.Time
	What farm.JotKind
	Band farm.Band // that the probe would agree with
	Said float64   // by the probe then
}

// feelAgainst holds a feel against what a probe says. Its readings still judge: a hand is
// no instrument, and the keeper is to look.
func (s *State) feelAgainst(p *probe, j farm.Jot, felt farm.Band) {
	agreed := farm.Band{Low: felt.Low - feelOff, High: felt.High + feelOff}
	if agreed.Contains(p.Good.Value) {
		p.Felt = feltRecord{}
		return
	}
	p.Felt = feltRecord{At: j.At, What: j.What, Band: agreed, Said: p.Good.Value}
	s.emit(p.suspect, s.Now, max(farm.Soon, p.suspect.Urgency))
}

// feltOtherwise tells whether what was felt still speaks against a probe.
func (p *probe) feltOtherwise(r *farm.Reading) bool {
	if p.Felt.At.IsZero() {
		return false
	}
	if r.Believed() && p.Felt.Band.Contains(r.Value) || r.At.Sub(p.Felt.At) > feltKept {
		p.Felt = feltRecord{}
	}
	return !p.Felt.At.IsZero()
}

func (s *State) sayFelt(p *probe) saying {
	f := p.Felt
	return saying{
		Text:   fmt.Sprintf("%s said %s when the bin was noted as %s (%s).", s.named(p), s.number(p, f.Said), f.What, s.farm.Dates().Day(f.At, s.Now)),
		Advice: &farm.Advice{Do: "Feel right beside it, and seat it where that material is; if it still says otherwise, calibrate it. A feel that agrees, written down, ends this."},
	}
}

// hatchBy is when cocoons that were seen are all hatched at the warmth of now, even
// those that were laid the same day; zero where that is not known.
func (s *State) hatchBy(z *zone, at time.Time) (by time.Time) {
	warmth, known := z.warmth()
	if !known {
		return by
	}
	for _, w := range z.bin.worms {
		if rate := husbandry.HatchRate(w.Species, warmth); rate > 0 {
			if t, ok := inDays(1/rate, at); ok {
				by = later(by, t)
			}
		}
	}
	return by
}

// noFood is the newest thing seen that keeps food back; ok is false where none does.
func (z *zone) noFood(at time.Time) (seen sighting, ok bool) {
	for _, seen := range slices.Backward(z.Husbandry.Sights) {
		if at.Sub(seen.At) < seen.What.Row().Sight.NoFood {
			return seen, true
		}
	}
	return seen, false
}

// seenLately tells whether a kind was seen within a time.
func (z *zone) seenLately(what farm.JotKind, within time.Duration, at time.Time) bool {
	return slices.ContainsFunc(z.Husbandry.Sights, func(o sighting) bool { return o.What == what && at.Sub(o.At) < within })
}

// viewSights shows what was seen of late and what follows from it, the newest first.
func (s *State) viewSights(z *zone, at time.Time) (all []farm.SightView) {
	dates := s.farm.Dates()
	for _, seen := range slices.Backward(z.Husbandry.Sights) {
		if at.Sub(seen.At) >= sightShown && !seen.HatchBy.After(at) {
			continue
		}
		row := seen.What.Row().Sight
		v := farm.SightView{What: seen.What, At: seen.At, Do: row.Do, Caution: row.Caution, Source: row.Source, Samples: seen.Samples}
		text := []string{fmt.Sprintf("%s (%s).", farm.Capital(string(seen.What)), dates.Day(seen.At, at)), row.Do}
		if until := seen.At.Add(row.NoFood); row.NoFood > 0 && until.After(at) {
			text = append(text, fmt.Sprintf("No feed is asked for until %s.", dates.Day(until, at)))
		}
		for _, m := range seen.Samples {
			text = append(text, fmt.Sprintf("By feel %s at %s stands for %.0f to %.0f %%: a rough point of calibration.", m.Probe, trimmed(m.Raw), m.Low, m.High))
		}
		if !seen.HatchBy.IsZero() {
			v.HatchBy = &seen.HatchBy
			text = append(text, fmt.Sprintf("At the warmth it had they are hatched by about %s.", dates.Day(seen.HatchBy, at)))
		}
		v.Text = strings.Join(slices.DeleteFunc(text, func(t string) bool { return t == "" }), " ")
		all = append(all, v)
	}
	return all
}

// trimmed writes a raw number.
func trimmed(v float64) string { return fmt.Sprintf("%.4g", v) }
