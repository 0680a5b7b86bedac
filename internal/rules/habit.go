package rules

import (
	"fmt"
	"math"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/trend"
)

// A keeper who waters a bin every six days knows that it is dry on the sixth. What comes
// on its usual day is told by the rounds, not by a notice. Choices, by simulated keepers:
const (
	actsKept  = 10
	sameVisit = visitsApart // what is jotted within is one act
	lapses    = 2           // a rhythm that is so many times late is none any more
	usually   = 0.75        // of the usual time after an act: what comes before is news
)

// habitual are the acts that may have a rhythm, in the order in which they are shown.
var habitual = []farm.JotKind{farm.Watered, farm.Fed, farm.Bedded, farm.Turned, farm.Sifted}

// remedy is the act that a breach of thrive waits for.
var remedy = map[farm.Condition]farm.JotKind{farm.TooDry: farm.Watered, farm.TooWet: farm.Bedded}

// A habit is the last acts of one kind at a zone. Fields are exported for snapshots.
type habit struct {
	What   farm.JotKind
	Acts   []act     // oldest first
	Breach time.Time // when what it remedies was first raised since the last of them
	Harmed bool      // harm had come since
}

// An act is one visit's worth of something.
type act struct {
	At         time.Time
	Kg, Litres float64
	Of         string
	After      time.Duration // from the act before until what it remedies was raised; 0: it was not
	Harmed     bool          // it came only when there was harm
}

func (h *husbandryMemory) habit(what farm.JotKind) *habit {
	i := slices.IndexFunc(h.Habits, func(b habit) bool { return b.What == what })
	if i < 0 {
		return nil
	}
	return &h.Habits[i]
}

// practise notes an act in the habits of a zone.
func (z *zone) practise(j farm.Jot, part float64) {
	what := j.What
	if what == farm.Fed && husbandry.IsBedding(j.Of) {
		what = farm.Bedded
	}
	if j.Uncertain || !slices.Contains(habitual, what) {
		return
	}
	h := z.Husbandry.habit(what)
	if h == nil {
		z.Husbandry.Habits = append(z.Husbandry.Habits, habit{What: what})
		h = &z.Husbandry.Habits[len(z.Husbandry.Habits)-1]
	}
	kg, litres := j.Kg*part, j.Litres*part
	for i := range h.Acts {
		if a := &h.Acts[i]; a.At.Sub(j.At).Abs() < sameVisit {
			a.Kg, a.Litres = a.Kg+kg, a.Litres+litres
			return
		}
	}
	one := act{At: j.At, Kg: kg, Litres: litres, Of: j.Of}
	if n := len(h.Acts); n > 0 && j.At.After(h.Acts[n-1].At) {
		if one.Harmed = h.Harmed; h.Breach.After(h.Acts[n-1].At) {
			one.After = h.Breach.Sub(h.Acts[n-1].At)
		}
		h.Breach, h.Harmed = time.Time{}, false
	}
	h.Acts = keepNewest(h.Acts, one, actsKept, func(a, b act) int { return a.At.Compare(b.At) })
}

// rhythm is that of a habit at a time; ok is false where it has none, where it has
// lapsed, and where harm had come before the last acts: neglect is no rhythm.
func (h *habit) rhythm(at time.Time) (r trend.Rhythm, ok bool) {
	if h == nil || len(h.Acts) == 0 {
		return r, false
	}
	var times []time.Time
	for _, a := range h.Acts {
		times = append(times, a.At)
	}
	recent := h.Acts[max(0, len(h.Acts)-4):]
	if slices.ContainsFunc(recent, func(a act) bool { return a.Harmed }) || h.Harmed {
		return r, false
	}
	r, ok = trend.RhythmOf(times)
	return r, ok && at.Sub(h.Acts[len(h.Acts)-1].At) < lapses*r.Late
}

// usualUntil tells until when a change need not be told but by the rounds: a breach of
// thrive whose remedy has its usual day, if it comes no sooner after the last than it
// does, and no later than that day. It is zero where it is to be told; the forecast of
// harm ends it before.
func (s *State) usualUntil(r *record, at time.Time, to farm.Urgency) (until time.Time) {
	what, ok := remedy[r.what.condition]
	if !ok || r.zone == nil || to == farm.Calm {
		return until
	}
	h := r.zone.Husbandry.habit(what)
	if h == nil {
		return until
	}
	if to == farm.Now {
		h.Harmed = true
		return until
	}
	if h.Breach.IsZero() {
		h.Breach = at
	}
	rhythm, ok := h.rhythm(at)
	if !ok {
		return until
	}
	last := h.Acts[len(h.Acts)-1].At
	if at.Sub(last) < h.usuallyAfter(rhythm) {
		return until
	}
	until = last.Add(rhythm.Late)
	if what == farm.Watered {
		until = earlier(until, r.zone.harmAfter(last, at))
	}
	if !until.After(at) {
		return time.Time{}
	}
	return until.UTC()
}

// usuallyAfter is how long after an act a breach is no news.
func (h *habit) usuallyAfter(r trend.Rhythm) time.Duration {
	var after []float64
	for _, a := range h.Acts {
		if a.After > 0 {
			after = append(after, a.After.Hours())
		}
	}
	usual := r.Early
	if len(after) >= 3 {
		usual = min(usual, time.Duration(trend.Median(after)*float64(time.Hour)))
	}
	return time.Duration(usually * float64(usual))
}

// harmFrom is the early end of the forecast of harm by dryness; zero where none is in
// sight.
func (z *zone) harmFrom() time.Time {
	f, ok := z.Husbandry.Dry.Survive.Forecast()
	if !ok {
		return time.Time{}
	}
	return f.Earliest
}

// harmAfter is when a zone that was watered last at one time, and has just become too dry
// at another, may come to harm: by its forecast, and where it dries too fast for one, half
// as fast again as it has dried since from the middle of what it is watered to.
func (z *zone) harmAfter(watered, dry time.Time) time.Time {
	const hurried = 1.5 // a choice, by simulated keepers
	from, now, harm := husbandry.DryBasis(z.aim.Middle()), husbandry.DryBasis(z.moist.Value), husbandry.DryBasis(z.moist.below.harm())
	perHour := (from - now) / dry.Sub(watered).Hours()
	if !(perHour > 0) || now <= harm {
		return dry
	}
	worst := dry.Add(time.Duration((now - harm) / (hurried * perHour) * float64(time.Hour)))
	if f := z.harmFrom(); !f.IsZero() {
		return earlier(worst, f)
	}
	return worst
}

// viewRhythms says what comes on its usual day at a zone.
func (s *State) viewRhythms(z *zone, at time.Time) (out []farm.Rhythm) {
	for _, what := range habitual {
		h := z.Husbandry.habit(what)
		r, ok := h.rhythm(at)
		if !ok {
			continue
		}
		last := h.Acts[len(h.Acts)-1]
		v := farm.Rhythm{
			What: what, EveryDays: r.Every.Hours() / 24, Of: last.Of, Last: last.At,
			Next: last.At.Add(r.Every), Early: last.At.Add(r.Early), Late: last.At.Add(r.Late), Kg: h.usual(act.kg), Litres: h.usual(act.litres),
		}
		if what == farm.Watered {
			z.byLevel(&v, at)
		}
		if r.Was > 0 {
			v.WasDays = r.Was.Hours() / 24
		}
		v.Text = s.sayRhythm(v, h, at)
		out = append(out, v)
	}
	return out
}

func (a act) kg() float64     { return a.Kg }
func (a act) litres() float64 { return a.Litres }

// usual is the middle of the amounts that were given; 0 where none were.
func (h *habit) usual(of func(act) float64) float64 {
	var all []float64
	for _, a := range h.Acts {
		if v := of(a); v > 0 {
			all = append(all, v)
		}
	}
	if len(all) == 0 {
		return 0
	}
	return trend.Median(all)
}

// byLevel puts a watering right by what the moisture does: it comes later where the zone
// will not be dry by then, sooner where it will be before, and never after harm may come.
func (z *zone) byLevel(v *farm.Rhythm, at time.Time) {
	if f, ok := ahead(z.Husbandry.Dry.Thrive, at); ok && (f.Earliest.After(v.Late) || !f.Latest.IsZero() && f.Latest.Before(v.Early)) {
		v.Next, v.Early, v.Late = f.Crosses, f.Earliest, f.Latest
		if v.Late.IsZero() {
			v.Late = f.Crosses.Add(f.Crosses.Sub(f.Earliest))
		}
	}
	if harm := z.harmFrom(); !harm.IsZero() && harm.Before(v.Late) {
		v.Late = harm
		v.Next, v.Early = earlier(v.Next, harm), earlier(v.Early, harm)
	}
}

// earlier is the earlier of two times.
func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// sayRhythm says it as a keeper would: "about ½ gal every 6 days; next about Tuesday,
// Monday to Thursday".
func (s *State) sayRhythm(v farm.Rhythm, h *habit, at time.Time) string {
	u, loc := s.farm.Units, s.farm.Location
	amount := ""
	switch {
	case v.Litres > 0:
		amount = u.Volume(v.Litres) + " "
	case v.Kg > 0:
		amount = u.Mass(v.Kg) + " "
	}
	if v.Of != "" && v.What != farm.Sifted && amount != "" {
		amount += "of " + v.Of + " "
	}
	text := fmt.Sprintf("%s %severy %s", v.What, amount, farm.SayLong(time.Duration(v.EveryDays*float64(dayStep))))
	next, span := s.farm.Dates().Day(v.Next, at), s.farm.Dates().Span(v.Early, v.Late, at)
	switch {
	case v.Late.Before(at):
		text += "; it was due by " + s.farm.Dates().Day(v.Late, at)
	case next == span:
		text += "; next about " + next
	default:
		text += fmt.Sprintf("; next about %s, %s", next, span)
	}
	if v.WasDays == 0 {
		return text
	}
	then := h.Acts[0].At.In(loc).Format("in January")
	if faster := v.WasDays / v.EveryDays; faster > 1 {
		return text + fmt.Sprintf("; %s %s as %s", changed[v.What == farm.Watered], asFast(faster), then)
	}
	return text + fmt.Sprintf("; %s more slowly than %s", changed[v.What == farm.Watered], then)
}

// changed is what has become quicker or slower: a zone that is watered dries, the rest is the
// keeper's pace.
var changed = map[bool]string{true: "it dries", false: "it comes"}

// asFast says how many times as fast something is: "half as fast again", "twice as fast".
func asFast(n float64) string {
	switch n = math.Round(2*n) / 2; {
	case n < 2:
		return "half as fast again"
	case n == 2:
		return "twice as fast"
	}
	return fmt.Sprintf("%g times as fast", n)
}
