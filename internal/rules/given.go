package rules

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// What was done is not asked for again until its effect can be seen. Choices:
const (
	waterCounts  = 24 * time.Hour     // until the rise is seen, or this long
	waterRests   = 48 * time.Hour     // the rest of a dose is offered from then on
	waterMissed  = 7 * 24 * time.Hour // water that never showed is spoken of so long
	beddingRests = 48 * time.Hour
	turningRests = 24 * time.Hour

	leastShown   = 0.5 // points of % that a rise is told from noise by: levels are medians
	leastAwaited = 1.5 // points: water that should raise less may pass unseen; an advised visit raises two and more
)

// A watering is water given of late, as far as it still counts.
type watering struct {
	At     time.Time // of the last can; zero: none
	Litres float64   // of all cans that had an amount
	Unsaid bool      // one of them had none
	Before float64   // moisture before the first can, % wet basis
	Known  bool      // whether Before is known
	Mixed  bool      // something else was done since: no rise can be told
	Shown  bool      // the rise has been seen, or is not waited for any more
	Missed bool      // it should have been seen, and was not
}

// A bedding is dry bedding given of late.
type bedding struct {
	At     time.Time
	Kg     float64
	Unsaid bool
}

// give counts a watering. One more before the last has shown adds to it.
func (z *zone) give(j farm.Jot, part float64) {
	g := &z.Husbandry.Given
	if apart := j.At.Sub(g.At); g.At.IsZero() || g.Shown || g.Missed || apart.Abs() >= waterCounts {
		if j.At.Before(g.At) {
			return // jotted late, and another one has been counted since
		}
		*g = watering{}
		g.Before, g.Known = z.moistBefore(j.At)
	}
	g.Known = g.Known && !j.Uncertain
	g.Litres += j.Litres * part
	g.Unsaid = g.Unsaid || j.Litres <= 0
	if j.At.After(g.At) {
		g.At = j.At
	}
}

// moistBefore is the moisture that the zone had before t: its level when t is
// now, else the mean of the hour before.
func (z *zone) moistBefore(t time.Time) (pct float64, known bool) {
	if last := z.moist.At; !last.IsZero() && !t.Before(last) {
		return z.moist.Value, t.Sub(last) < 12*time.Hour
	}
	return z.Husbandry.Curves.Moist.Hours.At(t.Add(-time.Hour))
}

// bed counts dry bedding; two lots within the time that one counts are one.
func (z *zone) bed(j farm.Jot, part float64) {
	b := &z.Husbandry.Bedded
	switch apart := j.At.Sub(b.At); {
	case apart <= -beddingRests:
		return
	case apart >= beddingRests:
		*b = bedding{}
	}
	b.Kg += j.Kg * part
	b.Unsaid = b.Unsaid || j.Kg <= 0
	if j.At.After(b.At) {
		b.At = j.At
	}
}

// awaits is by how much the water given should raise the moisture, points.
func (z *zone) awaits() float64 {
	g, d := z.Husbandry.Given, z.dry()
	if d.Kg <= 0 || !g.Known || g.Mixed {
		return 0
	}
	return husbandry.WetBasis(husbandry.DryBasis(g.Before)+g.Litres/d.Kg) - g.Before
}

// settleWater looks whether the water given has shown, once it has spread.
func (z *zone) settleWater(at time.Time) {
	g := &z.Husbandry.Given
	if g.At.IsZero() || g.Shown || g.Missed || z.moist.At.Sub(g.At) < settleAfter {
		return
	}
	awaited := z.awaits()
	switch rise := z.moist.Value - g.Before; {
	case g.Known && !g.Mixed && rise >= max(leastShown, awaited/4):
		g.Shown = true
	case at.Sub(g.At) < waterCounts:
	case awaited >= leastAwaited:
		g.Missed = true
	default:
		g.Shown = true
	}
}

// lessGiven takes from a dose what was given of late, and says so.
func (s *State) lessGiven(z *zone, a *farm.Advice, at time.Time) *farm.Advice {
	g := z.Husbandry.Given
	since := at.Sub(g.At)
	rests := waterRests
	if a.EveryDays == 1 {
		rests = waterCounts
	}
	switch {
	case g.At.IsZero() || since < 0:
	case g.Missed && since < waterMissed:
		if since < rests {
			a.VisitLitres, a.Do = 0, ""
		}
		a.Do = strings.TrimSpace(s.sayUnshown(z, at) + " " + a.Do)
	case !g.Shown && !g.Missed && since < waterCounts:
		taken := g.Litres
		if g.Unsaid {
			taken += a.VisitLitres
		}
		a.WaterLitres = max(0, a.WaterLitres-taken)
		s.wait(a, g.Litres, g.At.Add(waterCounts))
		a.Do = fmt.Sprintf("%s; look again %s.", s.sayGiven(g.said(s.farm.Units), g.At, at), s.onDay(*a.Wait, at))
		if g.Known && g.Before+z.awaits() > z.aim.High {
			a.Do += " That is more than it holds well: see that it can drain."
		}
	case since < rests:
		s.wait(a, g.Litres, g.At.Add(rests))
		next := "the rest is due"
		if !z.record(farm.TooDry).raised() && !z.record(farm.Drying).raised() { // it may well be enough
			next = "look again"
		}
		a.Do = fmt.Sprintf("%s; %s %s.", s.sayGiven(g.said(s.farm.Units), g.At, at), next, s.onDay(*a.Wait, at))
	}
	return a
}

// wait makes of a dose one of which nothing is wanted before a time.
func (s *State) wait(a *farm.Advice, given float64, until time.Time) {
	until = until.UTC()
	a.VisitLitres, a.GivenLitres, a.Wait, a.EveryDays = 0, given, &until, 0
}

// waterStillCounts tells whether water was given of late whose rise has not
// been seen.
func (z *zone) waterStillCounts(at time.Time) bool {
	g := z.Husbandry.Given
	return !g.At.IsZero() && !g.Shown && !g.Missed && at.Sub(g.At) < waterCounts
}

// sayUnshown asks where the water went.
func (s *State) sayUnshown(z *zone, at time.Time) string {
	g := z.Husbandry.Given
	said := g.said(s.farm.Units)
	have, they := "have", "they"
	if strings.HasPrefix(said, "1 ") || g.Litres <= 0 {
		have, they = "has", "it"
	}
	return fmt.Sprintf("The %s %s not shown at the probe: %s may have run through, or the probe sits in a dry pocket. Look where %s went before you give more.",
		strings.ToLower(s.sayGiven(said, g.At, at)), have, they, they)
}

// said is the amount of a watering: "3 quarts", "1 quart and more", "water".
func (g watering) said(u farm.Units) string {
	switch {
	case g.Litres <= 0:
		return "water"
	case g.Unsaid:
		return exact(u.Volume(g.Litres)) + " and more"
	}
	return exact(u.Volume(g.Litres))
}

// exact takes the "about" from an amount: the keeper knows what was given.
func exact(amount string) string { return strings.TrimPrefix(amount, "about ") }

// sayGiven says what was given and when: "3 quarts given at 12:21".
func (s *State) sayGiven(what string, given, at time.Time) string {
	return farm.Capital(what) + " given " + s.whenDone(given, at)
}

// whenDone says when something was done: "at 12:21", "yesterday at 12:21".
func (s *State) whenDone(done, at time.Time) string {
	clock := "at " + done.In(s.farm.Location).Format("15:04")
	if day := s.onDay(done, at); day != "today" {
		return day + " " + clock
	}
	return clock
}

// onDay says on which day something is: "tomorrow", "on Thursday".
func (s *State) onDay(t, at time.Time) string {
	day := farm.SayDay(t, at, s.farm.Location)
	if slices.Contains([]string{"today", "tomorrow", "yesterday"}, day) {
		return day
	}
	return "on " + day
}

// lessBedded takes from what a wet zone wants the bedding given of late.
func (s *State) lessBedded(z *zone, a *farm.Advice, at time.Time) *farm.Advice {
	b := z.Husbandry.Bedded
	if b.At.IsZero() || at.Before(b.At) || at.Sub(b.At) >= beddingRests {
		return a
	}
	what := "dry bedding"
	if b.Kg > 0 {
		what = exact(s.farm.Units.Mass(b.Kg)) + " of dry bedding"
	}
	until := b.At.Add(beddingRests).UTC()
	a.BeddingKg, a.Wait = 0, &until
	a.Do = fmt.Sprintf("%s; look again %s, and see that it can drain.", s.sayGiven(what, b.At, at), s.onDay(until, at))
	return a
}

// turned tells whether a zone was turned so lately that it need not be again,
// and until when.
func (z *zone) turned(at time.Time) (until *time.Time) {
	t := z.Husbandry.Turned
	if t.IsZero() || at.Before(t) || at.Sub(t) >= turningRests {
		return nil
	}
	end := t.Add(turningRests).UTC()
	return &end
}

const (
	visitsKept  = 9
	visitsApart = 12 * time.Hour // what is jotted within is one visit
	leastVisits = 4              // before they are a pace
)

// visited notes that the keeper was at a bin.
func (h *husbandryMemory) visited(t time.Time) {
	near := func(v time.Time) bool { return v.Sub(t).Abs() < visitsApart }
	if slices.ContainsFunc(h.Visits, near) {
		return
	}
	h.Visits = append(h.Visits, t)
	slices.SortFunc(h.Visits, time.Time.Compare)
	if n := len(h.Visits); n > visitsKept {
		h.Visits = slices.Delete(h.Visits, 0, n-visitsKept)
	}
}

// visitDays is how many days pass from one visit to the next: the middle of the
// last gaps in the logbook, from one day to a fortnight.
func (h *husbandryMemory) visitDays() float64 {
	if len(h.Visits) < leastVisits {
		return husbandry.UsualVisits
	}
	var gaps []float64
	for i, v := range h.Visits[1:] {
		gaps = append(gaps, v.Sub(h.Visits[i]).Hours()/24)
	}
	slices.Sort(gaps)
	return min(14, max(1, gaps[len(gaps)/2]))
}
