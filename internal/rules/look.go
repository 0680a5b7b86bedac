package rules

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// Look gives how the farm stands at arrival time at. It changes nothing.
func (s *State) Look(at time.Time) farm.View {
	v := farm.View{
		Farm: s.farm.Name, Units: s.farm.Units, Timezone: s.farm.Location.String(), At: at.UTC(),
		Hushes: s.hushViews(), Standing: s.standing(at),
		Intake: farm.IntakeView{Connected: s.linked, Since: s.since},
		Needs:  s.needs(at),
	}
	for _, b := range s.bins {
		bv := farm.BinView{Name: b.spec.Name}
		for _, z := range b.zones {
			bv.Zones = append(bv.Zones, s.zoneView(z, at))
		}
		v.Bins = append(v.Bins, bv)
	}
	for _, p := range s.probes {
		v.Probes = append(v.Probes, p.view(at))
	}
	return v
}

func (s *State) hushViews() []farm.Hush {
	var out []farm.Hush
	for _, h := range s.hushes {
		out = append(out, h.Hush)
	}
	return out
}

// standing lists what is raised at arrival time at, most urgent first, then in
// the order of the configuration.
func (s *State) standing(at time.Time) []farm.Standing {
	var out []farm.Standing
	s.eachRecord(func(who subject, c farm.Condition, r *record) {
		if !r.raised() {
			return
		}
		say := s.words(who, c, r, at)
		st := farm.Standing{
			Episode: r.Episode, Bin: who.Bin, Zone: who.Zone, Probe: who.Probe, Condition: c, Urgency: r.Urgency,
			Since: r.Since, Text: say.text, Forecast: say.forecast, Advice: say.advice, Cautions: say.cautions, Seen: r.Seen,
		}
		if until := s.hushedUntil(who, c, r); !until.IsZero() {
			st.Hushed = &until
		}
		out = append(out, st)
	})
	slices.SortStableFunc(out, func(a, b farm.Standing) int { return cmp.Compare(b.Urgency, a.Urgency) })
	return out
}

func (s *State) zoneView(z *zone, at time.Time) farm.ZoneView {
	v := farm.ZoneView{
		Bin: z.who.Bin, Zone: z.who.Zone, Aim: z.spec.Aim,
		Levels:   farm.Levels{},
		Unjudged: s.unjudged(z, at), Unknown: z.unknown(at), Waiting: z.waiting(at),
	}
	if l := levelView(z.Temp, z.temps, z.bands.temp, at); l != nil {
		v.Levels[farm.Temperature], l.Limits = l, z.heat.view(farm.TooCold, farm.TooHot)
	}
	if l := levelView(z.Moist, z.moists, z.bands.moist, at); l != nil {
		v.Levels[farm.Moisture], l.Limits = l, z.water.view(farm.TooDry, farm.TooWet)
	}
	if l := v.Level(farm.Temperature); l != nil && l.Fresh && z.spec.Aim == farm.Living {
		v.Species = z.speciesViews(v)
	}
	if z.holding(at) {
		until := z.Hold
		v.LidOff = &until
	}
	s.viewHusbandry(z, &v, at)
	return v
}

func levelView(l level, probes []*probe, bands farm.Bands, at time.Time) *farm.LevelView {
	if l.At.IsZero() {
		return nil
	}
	v := &farm.LevelView{Value: l.Value, At: l.At, Fresh: anyFresh(probes, at), Bands: bands}
	if l.several() {
		v.Lowest, v.Highest = l.Low.view(), l.High.view()
	}
	return v
}

func (e end) view() *farm.ProbeLevel { return &farm.ProbeLevel{Probe: e.Probe, Value: e.Value} }

// view lists the limits of a quantity from low to high, by the conditions that
// are raised past them. One that a more urgent one makes needless is left out.
func (l limits) view(below, above farm.Condition) []farm.Limit {
	var out []farm.Limit
	for u := farm.Now; u > farm.Calm; u-- {
		if l.low.counts(u) {
			out = append(out, farm.Limit{Condition: below, Urgency: u, At: l.low.limit[u]})
		}
	}
	for u := farm.Soon; u <= farm.Now; u++ {
		if l.high.counts(u) {
			out = append(out, farm.Limit{Condition: above, Urgency: u, At: l.high.limit[u]})
		}
	}
	return out
}

// unjudged says why nothing can be said of a zone; "" when something can.
func (s *State) unjudged(z *zone, at time.Time) farm.Reason {
	probes := slices.Concat(z.temps, z.moists)
	if len(probes) == 0 {
		return farm.NoProbe
	}
	return unheard(probes, at)
}

// unknown lists what a zone's probes measure and nothing is known of at present.
func (z *zone) unknown(at time.Time) []farm.Unknown {
	var out []farm.Unknown
	if why := unheard(z.temps, at); why != "" {
		out = append(out, farm.Unknown{Quantity: farm.Temperature, Why: why})
	}
	if why := unheard(z.moists, at); why != "" {
		out = append(out, farm.Unknown{Quantity: farm.Moisture, Why: why})
	}
	return out
}

// unheard says why none of some probes can speak at present; "" when one can,
// and when there are none.
func unheard(probes []*probe, at time.Time) farm.Reason {
	if len(probes) == 0 || anyFresh(probes, at) {
		return ""
	}
	why := farm.NeverHeard
	for _, p := range probes {
		switch {
		case p.Suspect.raised():
			return farm.NoneBelieved
		case !p.GoodAt.IsZero():
			why = farm.NotFresh
		}
	}
	return why
}

// waiting lists the limits that are past and not raised yet. While judging
// holds still no clock runs.
func (z *zone) waiting(at time.Time) []farm.Waiting {
	var out []farm.Waiting
	for _, w := range []struct {
		c farm.Condition
		l *ladder
	}{{farm.TooHot, &z.Hot}, {farm.TooCold, &z.Cold}, {farm.TooDry, &z.Dry}, {farm.TooWet, &z.Wet}} {
		if z.record(w.c).raised() || !z.fresh(w.c, at) {
			continue
		}
		since, u := w.l.past()
		if u == farm.Calm && z.pastAny(w.c) { // opened a moment ago: its clock starts with the next reading
			e := z.edgeOf(w.c)
			since, u = at, e.farthest(z.judgedBy(w.c).worst(e.up).Value)
		}
		if u != farm.Calm {
			out = append(out, farm.Waiting{Condition: w.c, Urgency: u, Since: since, RaisedAt: since.Add(z.spec.Patience)})
		}
	}
	return out
}

// speciesViews say how each species does in the middle of a zone; one that is in
// danger at an end of it is in danger.
func (z *zone) speciesViews(v farm.ZoneView) []farm.SpeciesView {
	var out []farm.SpeciesView
	warm, moist := v.Level(farm.Temperature), v.Level(farm.Moisture)
	for _, w := range z.bin.worms {
		sp := farm.SpeciesView{
			ID: w.ID, Name: w.Name, Part: w.Part, Word: husbandry.Word(w.Species, warm.Worst()),
			Activity: husbandry.Activity(w.Species, warm.Value, z.moistureOrNaN(moist)),
		}
		if middle := husbandry.Word(w.Species, warm.Value); sp.Word != middle {
			if sp.Word == husbandry.InDanger {
				sp.Where = warm.WorstProbe()
			} else {
				sp.Word = middle
			}
		}
		if moist != nil && moist.Fresh {
			if how := husbandry.MoistWord(w.Species, moist.Worst()); how != husbandry.Thriving {
				sp.Moisture = how
			}
		}
		out = append(out, sp)
	}
	return out
}

func (p *probe) view(at time.Time) farm.ProbeView {
	v := farm.ProbeView{ID: p.spec.ID, Measures: p.spec.Measures, Fresh: p.fresh(at)}
	r := p.Newest
	if r.At.IsZero() {
		return v
	}
	v.Doubt = r.Doubt.String()
	if !r.Retained { // a stored value is of any age
		v.At, v.Arrived = r.At, p.Arrived
	}
	if farm.Finite(r.Raw) {
		v.Raw = &r.Raw
	}
	if farm.Finite(r.Value) {
		v.Value = &r.Value
	}
	v.Flags = r.Flags()
	if p.Pace.Known() {
		v.PaceS = p.Pace.Every().Seconds()
	}
	if p.otherPace() {
		v.Pace = fmt.Sprintf("speaks %s (every: %s)", howOften(p.Pace.Every()), spelt(p.spec.Every))
	}
	return v
}

// Late tells whether a reading is older than what is known of its probe: it is
// kept, and not judged.
func (s *State) Late(r farm.Reading) bool {
	p := s.byID[r.Probe]
	return p != nil && !r.Retained && p.late(&r)
}

// Knows tells whether anything has ever been heard from a probe.
func (s *State) Knows(probeID string) bool {
	p := s.byID[probeID]
	return p != nil && !p.Newest.At.IsZero()
}
