package rules

import (
	"time"

	"binwatchd/internal/farm"
)

// siftMemory is what is remembered of a sifting window.
type siftMemory struct {
	Entered time.Time // when the moisture came into the thrive band from above
}

// foresee runs at most hourly for each zone: it lets food be eaten and cocoons
// develop, refits the curves and judges what is forecast.
func (s *State) foresee(z *zone, m time.Time) {
	s.live(z, m)
	z.learnDose()
	s.refitHeat(z, m)
	s.judgeBooks(z, m)
}

// judgeBooks judges what follows from the logbook.
func (s *State) judgeBooks(z *zone, at time.Time) {
	s.judgeFeeding(z, at)
	s.judgeHatching(z, at)
}

// nextLimit forecasts when a raised band condition passes its next limit.
func (s *State) nextLimit(z *zone, c farm.Condition, u farm.Urgency) *farm.Forecast { return nil }

func (s *State) viewHusbandry(z *zone, v *farm.ZoneView, at time.Time) {
	for _, f := range z.Husbandry.Foods {
		v.Food = append(v.Food, farm.FoodView{At: f.At, Kg: f.Kg, Of: f.Of})
	}
	v.StoredL = z.Husbandry.Fill.Litres
	v.Water = s.dose(z)
}
