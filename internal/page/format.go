package page

import (
	"math"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/snippet"
)

// A format writes times and amounts as the keeper of this farm reads them.
type format struct {
	now   time.Time
	loc   *time.Location
	units farm.Units
}

func (p *Page) format(f *farm.Farm) format {
	return format{now: p.cfg.Now(), loc: location(f), units: f.Units}
}

func location(f *farm.Farm) *time.Location {
	if f.Location == nil {
		return time.UTC
	}
	return f.Location
}

// age says how long ago t was.
func (v format) age(t time.Time) string {
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

// until says when something ends or comes.
func (v format) until(t time.Time) string { return farm.SayTime(t, v.now, v.loc) }

// clock is the time of day.
func (v format) clock(t time.Time) string { return t.In(v.loc).Format("15:04") }

// stamp is the full time, for the logbook.
func (v format) stamp(t time.Time) string { return t.In(v.loc).Format("Mon 2 Jan, 15:04") }

// interval says a forecast's likely time and both ends of its 80 % interval;
// nothing where there is no interval: the words of the forecast say it all.
func (v format) interval(f farm.Forecast) string {
	if f.Earliest.IsZero() {
		return ""
	}
	var parts []string
	if !f.Crosses.IsZero() {
		parts = append(parts, "likely "+v.until(f.Crosses))
	}
	from, to := v.until(f.Earliest), v.until(f.Latest)
	switch {
	case f.Latest.IsZero():
		parts = append(parts, "not before "+from)
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

// placeName names a zone; a bin whose only zone needs no name of its own is
// named alone, and so is a bin as a whole.
func placeName(b farm.Bin, zone string) string { return farm.SayPlace(b.Name, zone, len(b.Zones) == 1) }

// short writes a number with at most one decimal.
func short(x float64) string { return snippet.Number(math.Round(x*10) / 10) }

// sayJot says a jot in words that fit after the place: "fed about 2 kg of
// grain".
func sayJot(j farm.Jot, u farm.Units) string {
	said := string(j.What)
	switch {
	case j.Kg > 0:
		said += " " + u.Mass(j.Kg)
	case j.Litres > 0:
		said += " " + u.Volume(j.Litres)
	}
	if j.Of != "" {
		if j.Kg > 0 || j.Litres > 0 {
			said += " of"
		}
		said += " " + j.Of
	}
	if j.To != "" {
		said += " to " + j.To
	}
	if j.Uncertain {
		said += ", some time before"
	}
	return said
}
