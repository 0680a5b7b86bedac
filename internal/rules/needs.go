package rules

import (
	"fmt"
	"time"

	"binwatchd/internal/farm"
)

// paceOver is how far back siftings count for the pace of castings.
const paceOver = 90 * 24 * time.Hour

// A sifting is castings that went into a tub.
type sifting struct {
	At     time.Time
	Litres float64
}

// needs holds what is wanted by a day against what is kept and the pace so
// far. Only what jots have told of counts as kept.
func (s *State) needs(at time.Time) []farm.NeedView {
	var out []farm.NeedView
	stored, perDay := s.stored(), s.pace(at)
	for _, n := range s.farm.Needs {
		days := n.By.Sub(at).Hours() / 24
		v := farm.NeedView{WantedL: n.CastingsL, By: n.By, StoredL: stored, ExpectedL: stored + max(0, days)*perDay}
		v.Text = s.sayNeed(v, days, at)
		out = append(out, v)
	}
	return out
}

func (s *State) stored() float64 {
	sum := 0.0
	for _, z := range s.zones {
		if z.spec.Aim == farm.Keeping {
			sum += z.Husbandry.Fill.Litres
		}
	}
	return sum
}

// pace is litres of castings sifted a day over the last three months.
func (s *State) pace(at time.Time) float64 {
	sum, first := 0.0, at
	for _, x := range s.siftings {
		if at.Sub(x.At) <= paceOver {
			sum += x.Litres
			if x.At.Before(first) {
				first = x.At
			}
		}
	}
	const least = 14 // days: one sifting yesterday is no pace
	return sum / max(least, at.Sub(first).Hours()/24)
}

func (s *State) sayNeed(v farm.NeedView, days float64, at time.Time) string {
	u, by := s.farm.Units, farm.SayDay(v.By, at, s.farm.Location)
	wanted := fmt.Sprintf("%s of castings are wanted by %s; %s kept so far", farm.Capital(u.Volume(v.WantedL)), by, u.Volume(v.StoredL))
	switch {
	case v.StoredL >= v.WantedL:
		return wanted + ": enough."
	case days <= 0:
		return wanted + fmt.Sprintf(": %s short.", u.Volume(v.WantedL-v.StoredL))
	case v.ExpectedL >= v.WantedL:
		return wanted + ": at the pace so far it will be reached."
	}
	return wanted + fmt.Sprintf(": at the pace so far it will be %s by then, %s short.", u.Volume(v.ExpectedL), u.Volume(v.WantedL-v.ExpectedL))
}

// forgetSiftings drops what no longer counts for the pace.
func (s *State) forgetSiftings(at time.Time) {
	for len(s.siftings) > 0 && at.Sub(s.siftings[0].At) > paceOver {
		s.siftings = s.siftings[1:]
	}
}
