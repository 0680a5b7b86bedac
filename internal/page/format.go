package page

import (
	"math"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/snippet"
)

// Age says how long ago t was.
func (v *visit) Age(t time.Time) string {
	d := v.now.Sub(t)
	switch {
	case t.IsZero():
		return "never"
	case d < -ahead:
		return "dated ahead of the clock"
	case d < time.Minute:
		return "just now"
	}
	return farm.SayLong(d) + " ago"
}

// dates says days and times.
func (v *visit) dates() farm.Dates { return farm.Dates{Location: v.loc, Units: v.units} }

// Until says when something ends or comes.
func (v *visit) Until(t time.Time) string { return v.dates().Time(t, v.now) }

// clock is the time of day.
func (v *visit) clock(t time.Time) string { return t.In(v.loc).Format("15:04") }

// Stamp is the full time, for the logbook.
func (v *visit) Stamp(t time.Time) string { return v.dates().Stamp(t) }

// Reaches says from where to where a band of temperatures reaches.
func (v *visit) Reaches(b farm.Band) string {
	return v.units.Temperature(b.Low) + " to " + v.units.Temperature(b.High)
}

// interval says a forecast's likely time and both ends of its 80 % interval;
// nothing where there is no interval: the words of the forecast say it all.
func (v *visit) interval(f *farm.Forecast) string {
	if f == nil || f.Earliest.IsZero() {
		return ""
	}
	var parts []string
	if !f.Crosses.IsZero() {
		parts = append(parts, "likely "+v.Until(f.Crosses))
	}
	from, to := v.Until(f.Earliest), v.Until(f.Latest)
	switch {
	case f.Latest.IsZero():
		parts = append(parts, "hardly before "+from+", perhaps much later")
	case from != to:
		parts = append(parts, "four times in five between "+from+" and "+to)
	}
	return strings.Join(parts, "; ")
}

// sentence makes a phrase one; nothing stays nothing.
func sentence(phrase string) string {
	if phrase == "" {
		return ""
	}
	return farm.Capital(strings.TrimSuffix(phrase, ".")) + "."
}

var aimWords = map[farm.Aim]string{
	farm.Living: "worms at work", farm.Sifting: "drying to be sifted", farm.Keeping: "castings kept",
}

// short writes a number with at most one decimal.
func short(x float64) string { return snippet.Number(math.Round(x*10) / 10) }

// sayJot says a jot in words that fit after the place: "fed about 2 kg of
// grain".
func (v *visit) sayJot(j farm.Jot) string {
	said := j.Said(v.units.Mass, v.units.Volume)
	if j.Uncertain {
		said += ", some time before"
	}
	return said
}
