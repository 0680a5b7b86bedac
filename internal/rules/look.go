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
	for r := range s.records() {
		if !r.raised() {
			continue
		}
		say := s.words(r, at)
		st := farm.Standing{
			Episode: r.Episode, Bin: r.who.Bin, Zone: r.who.Zone, Probe: r.who.Probe, Condition: r.what.condition, Quantity: r.what.quantity,
			Urgency: r.Urgency, Since: r.Since, Brief: say.brief, Text: say.text, Forecast: say.forecast, Advice: say.advice, Cautions: say.cautions, Seen: r.Seen,
		}
		if until := s.hushedUntil(r); !until.IsZero() {
			st.Hushed = &until
		}
		out = append(out, st)
	}
	slices.SortStableFunc(out, func(a, b farm.Standing) int { return cmp.Compare(b.Urgency, a.Urgency) })
	return out
}

func (s *State) zoneView(z *zone, at time.Time) farm.ZoneView {
	v := farm.ZoneView{
		Bin: z.who.Bin, Zone: z.who.Zone, Aim: z.spec.Aim,
		Levels:   farm.Levels{},
		Unjudged: s.unjudged(z, at), Unknown: z.unknown(at), Waiting: z.waiting(at),
	}
	for _, m := range z.measured {
		if !m.At.IsZero() {
			v.Levels[m.Name] = m.view(at)
		}
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

func (m *measured) view(at time.Time) *farm.LevelView {
	v := &farm.LevelView{Value: m.Value, At: m.At, Fresh: anyFresh(m.probes, at), Bands: m.bands}
	if m.several() {
		v.Lowest, v.Highest = m.Low.view(), m.High.view()
	}
	below, above := farm.LimitConditions(m.Name)
	v.Limits = m.limits.view(below, above)
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
	probes := z.probes()
	if len(probes) == 0 {
		return farm.NoProbe
	}
	return unheard(probes, at)
}

// unknown lists what a zone's probes measure and nothing is known of at present.
func (z *zone) unknown(at time.Time) []farm.Unknown {
	var out []farm.Unknown
	for _, m := range z.measured {
		if why := unheard(m.probes, at); why != "" {
			out = append(out, farm.Unknown{Quantity: m.Name, Why: why})
		}
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
		case p.suspect.raised():
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
	for b := range z.bands() {
		if b.rec.raised() || !anyFresh(b.probes, at) {
			continue
		}
		since, u := b.latch.past()
		if u == farm.Calm && b.edge.farthestOf(b.level) != farm.Calm { // opened a moment ago: its clock starts with the next reading
			since, u = at, b.edge.farthest(b.worst(b.edge.up).Value)
		}
		if u != farm.Calm {
			out = append(out, farm.Waiting{
				Condition: b.rec.what.condition, Quantity: b.rec.what.quantity, Urgency: u, Since: since, RaisedAt: since.Add(z.spec.Patience),
			})
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
