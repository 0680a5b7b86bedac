package rules

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/trend"
)

// Look gives how the farm stands at arrival time at. It changes nothing.
func (s *State) Look(at time.Time) farm.View {
	v := farm.View{
		Farm: s.farm.Name, Units: s.farm.Units, Timezone: s.farm.Location.String(), At: at.UTC(),
		Standing: s.standing(at),
		Intake:   farm.IntakeView{Connected: s.Linked, Since: s.Since},
	}
	for _, h := range s.Hushes {
		v.Hushes = append(v.Hushes, h.Hush)
	}
	for _, b := range s.bins {
		bv := farm.BinView{Name: b.spec.Name, Place: b.spec.Room}
		for _, z := range b.zones {
			if !z.spec.IsRetired(at) {
				bv.Zones = append(bv.Zones, s.zoneView(z, at))
			}
		}
		if len(bv.Zones) > 0 {
			v.Bins = append(v.Bins, bv)
		}
	}
	v.Retired = s.viewRetired(at)
	for _, p := range s.probes {
		if p.retired(at) {
			continue
		}
		pv := p.view(at)
		pv.AirOf = s.farm.AirOf(pv.ID)
		v.Probes = append(v.Probes, pv)
	}
	return v
}

// Stocks are what each zone that keeps castings holds, by what was told of it.
func (s *State) Stocks() (all []farm.Stock) {
	for _, z := range s.zones {
		if z.spec.Aim == farm.Keeping {
			all = append(all, farm.Stock{Bin: z.who.Bin, Zone: z.who.Zone, Litres: z.kept()})
		}
	}
	return all
}

// standing lists what is raised at arrival time at, most urgent first, then in
// the order of the configuration.
func (s *State) standing(at time.Time) []farm.Standing {
	var out []farm.Standing
	for _, r := range s.records() {
		if !r.raised() {
			continue
		}
		say := s.words(r, at)
		st := farm.Standing{
			Episode: r.Episode, Bin: r.who.Bin, Zone: r.who.Zone, Probe: r.who.Probe, Condition: r.what.condition, Quantity: r.what.quantity,
			Urgency: r.Urgency, Since: r.Since, Brief: say.Brief, Text: say.Text, Forecast: say.Forecast, Advice: say.Advice, Cautions: say.Cautions,
		}
		s.showKnown(r, at, &st)
		if until := s.hushedUntil(r); !until.IsZero() {
			st.Hushed = &until
		}
		if until := r.Usual; until.After(at) {
			st.RoundsUntil = &until
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
		Unjudged: z.unjudged(at), Unknown: z.unknown(at), Waiting: z.waiting(at),
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
	if low, high := m.Low, m.High; m.several() {
		v.Lowest, v.Highest = &low, &high
	}
	v.Limits = m.limits()
	return v
}

// limits lists those of a quantity from low to high, by the conditions that
// are raised past them. One that a more urgent one makes needless is left out.
func (m *measured) limits() (out []farm.Limit) {
	below, above := farm.LimitConditions(m.Name)
	for u := farm.Now; u > farm.Calm; u-- {
		if m.below.counts(u) {
			out = append(out, farm.Limit{Condition: below, Urgency: u, At: m.below.limit[u]})
		}
	}
	for u := farm.Soon; u <= farm.Now; u++ {
		if m.above.counts(u) {
			out = append(out, farm.Limit{Condition: above, Urgency: u, At: m.above.limit[u]})
		}
	}
	return out
}

// unjudged says why nothing can be said of a zone; "" when something can.
func (z *zone) unjudged(at time.Time) farm.Reason {
	var probes []*probe
	for _, m := range z.measured {
		probes = append(probes, m.probes...)
	}
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
	for _, r := range z.records {
		b := r.breach()
		if !r.row.Band || r.raised() || !anyFresh(b.probes, at) {
			continue
		}
		since, u := b.passed()
		if s := b.settling; u == farm.Calm && s.holds(b.edge.side) && b.found(b.edge) != farm.Calm {
			out = append(out, farm.Waiting{
				Condition: r.what.condition, Quantity: r.what.quantity, Urgency: b.found(b.edge), Since: s.Since, RaisedAt: s.Since.Add(settlesIn), Settles: true,
			})
			continue
		}
		if u == farm.Calm { // opened a moment ago: its clock starts with the next reading
			since, u = at, b.found(b.edge)
		}
		if u != farm.Calm {
			out = append(out, farm.Waiting{
				Condition: r.what.condition, Quantity: r.what.quantity, Urgency: u, Since: since, RaisedAt: since.Add(z.spec.Patience),
			})
		}
	}
	return out
}

// speciesViews say how each species does in the middle of a zone; one that is in
// danger at an end of it is in danger.
func (z *zone) speciesViews(v farm.ZoneView) []farm.SpeciesView {
	var out []farm.SpeciesView
	warm, moist, pct := v.Level(farm.Temperature), v.Level(farm.Moisture), nan
	if moist != nil && moist.Fresh {
		pct = moist.Value
	}
	for _, w := range z.bin.worms {
		sp := farm.SpeciesView{
			ID: w.ID, Name: w.Name, Part: w.Part, Word: husbandry.Word(w.Species, farm.Temperature, warm.Worst()),
			Activity: husbandry.Activity(w.Species, warm.Value, pct),
		}
		if middle := husbandry.Word(w.Species, farm.Temperature, warm.Value); sp.Word != farm.InDanger {
			sp.Word = middle
		} else if middle != farm.InDanger {
			sp.Where = warm.WorstProbe()
		}
		if moist != nil && moist.Fresh {
			if how := husbandry.Word(w.Species, farm.Moisture, moist.Worst()); how != farm.Thriving {
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

// foresee runs at most hourly for each zone: it lets food be eaten and cocoons
// develop, refits the curves and judges what is forecast.
func (s *State) foresee(z *zone, m time.Time) {
	s.live(z, m)
	if z.moist.At.Sub(z.Husbandry.Pouring.At) >= trend.SoakEnds {
		z.learnDose(z.moist.At)
	}
	z.settleWater(m)
	s.refitHeat(z, m)
	s.refitRoom(z, m)
	s.refitDry(z, m)
	s.judgeLedger(z, m)
}

// judgeLedger judges what follows from the logbook.
func (s *State) judgeLedger(z *zone, at time.Time) {
	s.judgeFeeding(z, at)
	s.judgeHatching(z, at)
}

func (s *State) viewHusbandry(z *zone, v *farm.ZoneView, at time.Time) {
	v.Food = s.viewFood(z)
	v.Rhythms, v.Visit = s.viewRhythms(z, at), z.Husbandry.visit(at)
	v.Seen = s.viewSights(z, at)
	v.StoredL, v.UnsiftedL = z.kept(), z.unsifted()
	if z.waterStillCounts(at) || anyFresh(z.moist.probes, at) && !z.holding(at) && !z.icy(at) {
		v.Water = s.dose(z, at)
	}
	v.Outlook = s.outlook(z, at)
	if l := v.Level(farm.Temperature); l != nil && !math.IsNaN(z.Husbandry.Heat.Fit.PerHour) {
		l.PerHour = z.Husbandry.Heat.Fit.PerHour
	}
}

// outlook lists what is foreseen for a zone, whether or not it is near enough
// to be raised.
func (s *State) outlook(z *zone, at time.Time) []farm.Outlook {
	var out []farm.Outlook
	add := func(c farm.Condition, f farm.Forecast, text string) {
		if f.Crosses.After(at) {
			out = append(out, farm.Outlook{Condition: c, Forecast: f, Text: text})
		}
	}
	u, d, moist := s.farm.Units, z.Husbandry.Dry, z.moist.bands
	if f, ok := z.Husbandry.Heat.Fit.Crossing.Forecast(); ok && z.Husbandry.Heat.Fit.Self {
		add(farm.Heating, f, fmt.Sprintf("%s by %s (%s)", u.Temperature(z.temp.above.harm()), s.farm.Dates().Time(f.Crosses, at), s.between(f, at)))
	}
	for _, side := range roomSides {
		if f, ok := side.foreseen(z, at); ok && side.condition.Arises(z.spec.Aim) {
			add(side.condition, f, fmt.Sprintf("%s by %s (%s)", u.Temperature(f.Limit), s.farm.Dates().Time(f.Crosses, at), s.between(f, at)))
		}
	}
	sifting := z.spec.Aim == farm.Sifting
	if f, ok := ahead(d.Thrive, at); ok && sifting {
		add(farm.SiftPassing, f, "too dry to sift "+s.days(f, at))
	} else if ok {
		add(farm.Drying, f, fmt.Sprintf("below %s %s", u.Moisture(moist.Thrive.Low), s.days(f, at)))
	}
	if f, ok := ahead(d.Opens, at); ok && sifting {
		add(farm.SiftReady, f, "dry enough to sift "+s.days(f, at))
	}
	if t, text, ok := s.feedDueAt(z, at); ok && !s.holdsBack(z) {
		add(farm.FeedDue, farm.Forecast{Crosses: t}, text)
	}
	if t, ok := s.hatchIn(z, at); ok {
		add(farm.Hatching, farm.Forecast{Crosses: t}, "cocoons due about "+s.farm.Dates().Day(t, at))
	}
	return out
}

// sayChange has the words of a change that a record has just made.
func (s *State) sayChange(r *record, was farm.Urgency, at time.Time) saying {
	if !r.raised() {
		return saying{Text: s.sayOver(r, at)}
	}
	say := s.sayRaised(r, at)
	if r.row.Band && r.Urgency < was {
		say.Text = "Better, though not right yet. " + say.Text
	}
	return say
}

// sayRaised has the words of what is raised.
func (s *State) sayRaised(r *record, at time.Time) saying {
	switch r.what.condition {
	case farm.Silent:
		return s.saySilent(r.probe, at)
	case farm.Suspect:
		return s.saySuspect(r.probe, &r.probe.Newest)
	case farm.BatteryLow:
		return s.sayBattery(r.probe)
	case farm.FeedDue:
		return s.sayFeed(r.zone, at)
	case farm.Hatching:
		return s.sayHatching(r.zone, at)
	case farm.Heating:
		return s.sayHeating(r.zone, at)
	case farm.Cooling:
		return s.sayRoom(r.zone, roomSides[0], at)
	case farm.Warming:
		return s.sayRoom(r.zone, roomSides[1], at)
	case farm.Drying:
		return s.sayDrying(r.zone, at)
	case farm.SiftReady, farm.SiftPassing:
		return s.saySift(r.breach(), at)
	}
	if r.row.Band {
		return s.bandWords(r.breach(), at)
	}
	return saying{Text: s.told}
}

// sayOver says of what has eased how it stands now.
func (s *State) sayOver(r *record, at time.Time) string {
	switch c := r.what.condition; c {
	case farm.Silent:
		return s.named(r.probe) + " speaks again."
	case farm.Suspect:
		return s.named(r.probe) + " can be believed again."
	case farm.BatteryLow:
		return fmt.Sprintf("Battery %s is well again at %s.", r.probe.spec.ID, s.number(r.probe, r.probe.Good.Value))
	case farm.FeedDue:
		return s.sayFed(r.zone)
	case farm.Hatching:
		return s.place(r.who) + ": the hatching is over or the worms are lifted out."
	case farm.Heating:
		return s.sayCooled(r.zone, at)
	case farm.Cooling:
		return s.sayRoomOver(r.zone, roomSides[0])
	case farm.Warming:
		return s.sayRoomOver(r.zone, roomSides[1])
	case farm.Drying:
		if r.becomes().raised() {
			return fmt.Sprintf("%s was drying out, and is too dry now: %s.", s.place(r.who), s.moistNow(r.zone))
		}
		return fmt.Sprintf("%s is no longer drying out: %s now.", s.place(r.who), s.moistNow(r.zone))
	case farm.SiftReady, farm.SiftPassing:
		return s.saySifted(r.zone, c)
	}
	if r.row.Band {
		return s.sayEased(r.breach(), at)
	}
	return s.told
}

// The words of what is raised are made when somebody looks, from the levels,
// the fits and the books of that moment: a sentence that was remembered would
// soon stand beside a number it does not agree with. A record keeps the words
// of its last change for the one case in which no others can be made.

// words of a raised condition as of arrival time at.
func (s *State) words(r *record, at time.Time) saying {
	switch {
	case !s.sayable(r, at):
		return r.Said
	case r.what.condition == farm.Suspect && r.probe.Newest.Believed():
		return s.sayMending(r.probe, at)
	}
	say, b := s.sayRaised(r, at), r.breach()
	sifts := r.what.condition == farm.SiftReady || r.what.condition == farm.SiftPassing
	switch {
	case r.measured == nil:
	case r.zone.holding(at) && !sifts:
		lid := s.sayLidOff(b)
		if say.Advice != nil && say.Advice.Wait != nil {
			lid.Advice = say.Advice // what was done is known
		}
		return lid
	case !b.ofNow(at):
		say.Advice = lookFirst(say.Advice)
	}
	return say
}

// sayable tells whether what the words of a condition are made of is known. It is
// not after a change of configuration, say.
func (s *State) sayable(r *record, at time.Time) bool {
	switch r.what.condition {
	case farm.Silent:
		return true
	case farm.Suspect:
		return !r.probe.Newest.Believed() || !r.probe.Bad.At.IsZero()
	case farm.BatteryLow:
		return !r.probe.GoodAt.IsZero()
	case farm.FeedDue:
		return r.zone.Husbandry.Fed
	case farm.Hatching:
		return len(s.hatches(r.zone, at)) > 0
	}
	return r.measured != nil && !r.measured.At.IsZero()
}

// ofNow tells whether a level speaks of arrival time at: what a gateway hands over
// hours late, with its own times, is fresh news of old days.
func (m *measured) ofNow(at time.Time) bool {
	return slices.ContainsFunc(m.probes, func(p *probe) bool {
		return p.fresh(at) && at.Sub(p.Good.At) <= max(time.Hour, silentAfter*p.spec.Every)
	})
}

// sayLidOff speaks of a condition while the lid is off: what the probes say
// then is no news of it, and what to do was said before.
func (s *State) sayLidOff(b breach) saying {
	return saying{
		Text: fmt.Sprintf("%s %s before it was opened; it is judged again from %s on.", s.place(b.zone.who), b.was(),
			b.zone.Hold.In(s.farm.Location).Format("15:04")),
		Advice: &farm.Advice{First: true, Do: "Look again when it has been closed for a while."},
	}
}

// was fits after a zone's name: "was too hot", "had its CO2 past its limit".
func (b breach) was() string {
	was := b.rec.row.Was
	if b.rec.what.quantity != "" {
		return "had its " + b.Noun + " " + was
	}
	return "was " + was
}

// lookFirst is advice that rests on readings of some time ago.
func lookFirst(a *farm.Advice) *farm.Advice {
	out := *cmp.Or(a, &farm.Advice{})
	out.Do = "See how it is first, for the newest reading is old. " + out.Do
	return &out
}

// sayMending speaks of a probe that is believed again, and not for long enough
// yet to be trusted as before.
func (s *State) sayMending(p *probe, at time.Time) saying {
	say := s.saySuspect(p, &p.Bad)
	said := ""
	if v := s.number(p, p.Bad.Value); v != "" {
		said = " (it said " + v + ")"
	}
	say.Text = fmt.Sprintf("%s was not believed %s ago: %s%s. What it says now is believed; this is over when that lasts.",
		s.named(p), farm.SayLong(at.Sub(p.Bad.At)), p.Bad.Doubt, said)
	return say
}
