package rules

import "time"

const (
	dayHours = 24
	// dayKnown is how many hours of the last day must be believed for its mean to
	// count. A choice.
	dayKnown = 12
)

// A day is the mean of a level over the last 24 hours, weighted by time and kept
// by the hour: worms feel doses, not minutes. Hours in which nothing was believed
// count for nothing. Fields are exported for snapshots.
type day struct {
	Dose  [dayHours + 1]float64 // level × hours, by hour; one more than a day has, for the oldest is partly over
	Hours [dayHours + 1]float64 // believed of each
	Hour  int                   // the one at hand
	From  time.Time             // when it began
	Upto  time.Time             // up to when levels are in; zero: none is
	Last  float64               // the level since then
}

// take notes a level that holds from a time on. What came before holds up to
// then, unless nothing was heard for longer than most.
func (d *day) take(at time.Time, v float64, most time.Duration) {
	switch span := at.Sub(d.Upto); {
	case d.Upto.IsZero() || span > dayHours*time.Hour:
		*d = day{From: at}
	case span < 0:
		return
	default:
		d.pass(at, span <= most)
	}
	d.Upto, d.Last = at, v
}

// pass lets time pass to at; the last level holds in it, or nothing is known of it.
func (d *day) pass(at time.Time, known bool) {
	for d.Upto.Before(at) {
		next := d.From.Add(time.Hour)
		upto := at
		if next.Before(at) {
			upto = next
		}
		if part := upto.Sub(d.Upto).Hours(); known {
			d.Dose[d.Hour] += part * d.Last
			d.Hours[d.Hour] += part
		}
		if d.Upto = upto; !upto.Before(next) {
			d.Hour = (d.Hour + 1) % len(d.Dose)
			d.From, d.Dose[d.Hour], d.Hours[d.Hour] = next, 0, 0
		}
	}
}

// mean of the last 24 hours; ok is false while too little of them is known.
func (d *day) mean() (mean float64, ok bool) {
	dose, hours := 0.0, 0.0
	for i := range d.Dose {
		part := 1.0
		if i == (d.Hour+1)%len(d.Dose) { // the oldest, of which as much is over as of the one at hand
			part -= d.Upto.Sub(d.From).Hours()
		}
		dose += part * d.Dose[i]
		hours += part * d.Hours[i]
	}
	return dose / max(hours, 1e-9), hours >= dayKnown
}

// shift moves its times with the clock.
func (d *day) shift(move func(...*time.Time)) {
	was := d.Upto
	move(&d.Upto)
	d.From = d.From.Add(d.Upto.Sub(was))
}
