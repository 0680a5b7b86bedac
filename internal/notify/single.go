package notify

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// single is the sheet about one episode.
func (w writer) single(ctx context.Context, m matter) sheet {
	c := m.last.Change
	s := sheet{Subject: w.subject(m), First: w.doing(m), Now: m.atNow()}
	s.add(part{Lines: w.saying(m)})
	if m.say != over && m.say != cameWent {
		s.add(part{Rows: w.foreseen(c)})
	}
	s.add(part{Pictures: w.pictures(ctx, c)})
	s.add(w.readings(c))
	s.add(w.done(ctx, c))
	for _, caution := range c.Cautions {
		s.add(part{Lines: []string{caution}, Careful: true})
	}
	s.Foot, s.Pasted = w.foot(), w.commands(m)
	return s
}

// add puts a part into the sheet unless it is empty.
func (s *sheet) add(p part) {
	if len(p.Lines)+len(p.Rows)+len(p.List)+len(p.Pictures) > 0 || p.Do != "" {
		s.Parts = append(s.Parts, p)
	}
}

// saying is the change in whole sentences, and what went before or has come
// since.
func (w writer) saying(m matter) []string {
	c := m.last.Change
	lines := []string{c.Text}
	switch m.say {
	case over:
		if c.Ended != farm.Unwatched { // how long it was so and how bad it was is not known
			lines = append(lines, w.howItWas(c))
		}
	case cameWent:
		return []string{w.cameWentLine(m)}
	case still:
		lines = append(lines, fmt.Sprintf("It has been so for %s. This comes again until it is over, or marked as seen, or hushed.", farm.SayLong(w.now.Sub(c.Since))))
	}
	for _, o := range m.before {
		lines = append(lines, fmt.Sprintf("Before that, %s: %s", w.time(o.Change.At), o.Change.Text))
	}
	if late := w.now.Sub(c.At); late > 30*time.Minute && m.say != still {
		lines = append(lines, w.lateness(m, late))
	}
	return lines
}

// lateness says that a notice could not be told in time, and how things stood
// then, where they stand otherwise by now.
func (w writer) lateness(m matter, late time.Duration) string {
	line := fmt.Sprintf("This was noticed %s ago, %s, and could not be told sooner.", farm.SayLong(late), w.time(m.then.At))
	switch {
	case m.then.Text != m.last.Change.Text:
		line += " It was then: " + m.then.Text
	case m.say == over:
		line += " How it stands by now is below."
	}
	return line
}

// howItWas says how long an episode lasted and what it reached.
func (w writer) howItWas(c farm.Change) string {
	line := ""
	if !c.Since.IsZero() {
		line = fmt.Sprintf("It lasted %s, from %s to %s", farm.SayLong(c.At.Sub(c.Since)), w.time(c.Since), w.time(c.At))
	}
	if c.Peak != nil {
		if line != "" {
			line += ", and "
		}
		line += "it reached " + w.measure(c.Condition, *c.Peak)
	}
	if line == "" {
		return ""
	}
	return capital(line) + "."
}

// cameWentLine is the one line about an episode that was over before it could
// be told.
func (w writer) cameWentLine(m matter) string {
	c := m.last.Change
	line := fmt.Sprintf("%s was %s", place(&w.farm, c), c.Condition.Row().Was)
	if !c.Since.IsZero() {
		line += fmt.Sprintf(" for %s, from %s", farm.SayLong(c.At.Sub(c.Since)), w.time(c.Since))
	}
	if c.Peak != nil {
		line += ", at worst " + w.measure(c.Condition, *c.Peak)
	}
	return line + ". It was over before it could be told."
}

// measure writes a level in the unit of its condition.
func (w writer) measure(c farm.Condition, v float64) string {
	if ofHeat(c) {
		return w.farm.Units.Temperature(v)
	}
	return w.farm.Units.Moisture(v)
}

func ofHeat(c farm.Condition) bool {
	return c == farm.TooHot || c == farm.TooCold || c == farm.Heating
}

// foreseen are the forecast with its interval, the doses and the window.
func (w writer) foreseen(c farm.Change) [][2]string {
	var rows [][2]string
	if f := c.Forecast; f != nil && !f.Crosses.IsZero() {
		rows = append(rows, [2]string{"Foreseen", w.forecast(c, *f)})
	}
	if a := c.Advice; a != nil {
		rows = append(rows, w.amounts(*a)...)
	}
	return rows
}

func (w writer) forecast(c farm.Change, f farm.Forecast) string {
	line := w.crossed(c) + " by " + w.time(f.Crosses)
	switch {
	case !f.Earliest.IsZero() && !f.Latest.IsZero():
		line += fmt.Sprintf("; four chances in five that it is between %s and %s", bare(w.time(f.Earliest)), bare(w.time(f.Latest)))
	case !f.Earliest.IsZero():
		line += fmt.Sprintf("; hardly before %s, perhaps much later", bare(w.time(f.Earliest)))
	}
	return capital(line) + "."
}

// crossed names the limit that a forecast speaks of: the next one in the
// direction of the condition.
func (w writer) crossed(c farm.Change) string {
	if c.Condition == farm.SiftReady || c.Condition == farm.SiftPassing {
		return "too dry to sift"
	}
	kind := curves[c.Condition]
	limit := nextLimit(c.Condition, w.bands(c.Bin, c.Zone, kind.quantity), w.levelNow(c.Bin, c.Zone, kind.quantity))
	if math.IsNaN(limit) {
		return "the limit"
	}
	return w.measure(c.Condition, limit)
}

// bare takes the "about" from a time that is one end of an interval.
func bare(s string) string { return strings.Replace(s, "about ", "", 1) }

func (w writer) amounts(a farm.Advice) [][2]string {
	var rows [][2]string
	u := w.farm.Units
	if a.VisitLitres > 0 {
		rows = append(rows, [2]string{"This visit", u.Volume(a.VisitLitres)})
	}
	if a.WaterLitres > 0 {
		rows = append(rows, [2]string{"In all", u.Volume(a.WaterLitres) + w.standsOn(a)})
	}
	if a.BeddingKg > 0 {
		rows = append(rows, [2]string{"Dry bedding", u.Mass(a.BeddingKg) + w.standsOn(a)})
	}
	if a.FeedKg > 0 {
		rows = append(rows, [2]string{"Feed", u.Mass(a.FeedKg)})
	}
	if a.Opens != nil && a.Closes != nil {
		rows = append(rows, [2]string{"Time to sift", farm.SaySpan(*a.Opens, *a.Closes, w.now, w.farm.Location)})
	}
	return rows
}

// standsOn says what a dose was worked out from.
func (w writer) standsOn(a farm.Advice) string {
	if a.DryMassKg <= 0 {
		return ""
	}
	from := map[string]string{"guess": ", which is a guess from its volume", "learned": ", learned from waterings"}[a.DryMassFrom]
	return fmt.Sprintf(" (for %s of dry matter%s)", strings.TrimPrefix(w.farm.Units.Mass(a.DryMassKg), "about "), from)
}

// foot says where the letter is from, and of when.
func (w writer) foot() []string {
	return []string{fmt.Sprintf("%s, %s", w.farm.Name, w.now.In(w.farm.Location).Format("Mon 2 Jan 2006 15:04 MST"))}
}

// commands say how to be left alone.
func (w writer) commands(m matter) [][2]string {
	c := m.last.Change
	if m.say == over || m.say == cameWent {
		return nil
	}
	all := [][2]string{{"Seen it", w.command("seen", c.Episode)}}
	if c.Bin != "" {
		place := c.Bin
		if c.Zone != "" {
			place += "/" + c.Zone
		}
		all = append(all, [2]string{"Quiet for a day", w.command("hush", place, string(c.Condition), "--for", "24h")})
	}
	return all
}
