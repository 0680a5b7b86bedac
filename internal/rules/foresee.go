package rules

import (
	"fmt"
	"math"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// foresee runs at most hourly for each zone: it lets food be eaten and cocoons
// develop, refits the curves and judges what is forecast.
func (s *State) foresee(z *zone, m time.Time) {
	s.live(z, m)
	z.learnDose()
	z.settleWater(m)
	s.refitHeat(z, m)
	s.refitDry(z, m)
	s.judgeLedger(z, m)
	s.forgetSiftings(m)
}

// judgeLedger judges what follows from the logbook.
func (s *State) judgeLedger(z *zone, at time.Time) {
	s.judgeFeeding(z, at)
	s.judgeHatching(z, at)
}

func (s *State) viewHusbandry(z *zone, v *farm.ZoneView, at time.Time) {
	for _, f := range z.Husbandry.Foods {
		v.Food = append(v.Food, farm.FoodView{At: f.At, Kg: f.Kg, Of: f.Of, LeftPart: husbandry.FeedLeft(s.eatDays(z, f), f.ActiveDays)})
	}
	v.StoredL = z.Husbandry.Fill.Litres
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
	add := func(c farm.Condition, f farm.Forecast, ok bool, text string) {
		if ok && f.Crosses.After(at) {
			out = append(out, farm.Outlook{Condition: c, Forecast: f, Text: text})
		}
	}
	u, d, moist := s.farm.Units, z.Husbandry.Dry, z.moist.bands
	if f, ok := z.Husbandry.Heat.Fit.Crossing.Forecast(); ok && z.Husbandry.Heat.Fit.Self {
		add(farm.Heating, f, true, fmt.Sprintf("%s by %s (%s)", u.Temperature(z.temp.limits.high.harm()), farm.SayTime(f.Crosses, at, s.farm.Location), s.between(f, at)))
	}
	if f, ok := d.Thrive.Forecast(); ok {
		switch z.spec.Aim {
		case farm.Sifting:
			add(farm.SiftPassing, f, !d.Thrive.Past, "too dry to sift "+s.days(f, at))
		default:
			add(farm.Drying, f, !d.Thrive.Past, fmt.Sprintf("below %s %s", u.Moisture(moist.Thrive.Low), s.days(f, at)))
		}
	}
	if f, ok := d.Opens.Forecast(); ok && z.spec.Aim == farm.Sifting {
		add(farm.SiftReady, f, !d.Opens.Past, "dry enough to sift "+s.days(f, at))
	}
	if t, ok := s.feedDueAt(z, at); ok {
		add(farm.FeedDue, farm.Forecast{Crosses: t}, true, "next feed due about "+farm.SayDay(t, at, s.farm.Location))
	}
	if t, ok := s.hatchIn(z, at); ok {
		add(farm.Hatching, farm.Forecast{Crosses: t}, true, "cocoons due about "+farm.SayDay(t, at, s.farm.Location))
	}
	return out
}

// feedDueAt forecasts the next feed at the activity of now.
func (s *State) feedDueAt(z *zone, at time.Time) (time.Time, bool) {
	if len(z.Husbandry.Foods) == 0 {
		return time.Time{}, false
	}
	days := 0.0
	for _, f := range z.Husbandry.Foods {
		days = max(days, husbandry.FeedDueIn(s.eatDays(z, f), f.ActiveDays, s.activity(z)))
	}
	if days > 366 {
		return time.Time{}, false
	}
	return at.Add(time.Duration(days * 24 * float64(time.Hour))), true
}
