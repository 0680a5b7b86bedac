package notify

import (
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"binwatchd/internal/farm"
)

// place names what a change is about: "Bed, near", "Crate" when it has only one
// zone, "Probe bed-t", or the farm itself.
func place(f *farm.Farm, c farm.Change) string {
	switch {
	case c.Probe != "":
		return "Probe " + c.Probe
	case c.Bin == "":
		return f.Name
	}
	b, ok := f.BinByName(c.Bin)
	_, zone := b.ZoneByName(c.Zone)
	if c.Zone == "" || zone && len(b.Zones) == 1 || !ok && c.Ended == farm.Unwatched {
		return capital(c.Bin)
	}
	return capital(c.Bin) + ", " + c.Zone
}

// matterWords say in a few words what a matter is: "too hot at 33 °C",
// "heating, 32 °C by about 4 pm".
func (w writer) matterWords(m matter) string {
	c := m.last.Change
	switch m.say {
	case over:
		return overWords(c)
	case cameWent:
		return c.Is() + ", and over"
	}
	if c.Forecast != nil && !c.Forecast.Crosses.IsZero() {
		switch c.Condition {
		case farm.Heating:
			return w.limitWords(c) + "by " + w.time(c.Forecast.Crosses)
		case farm.Drying:
			return "drying, too dry by " + w.time(c.Forecast.Crosses)
		}
	}
	if c.Advice != nil && c.Advice.Closes != nil {
		switch c.Condition {
		case farm.SiftReady:
			return "ready to sift until " + w.day(*c.Advice.Closes)
		case farm.SiftPassing:
			return "sift it by " + w.time(*c.Advice.Closes)
		}
	}
	if c.Brief != "" && utf8.RuneCountInString(c.Brief) <= 60 {
		return c.Brief
	}
	return c.Is()
}

// unwatchedDo is what is left to do where nobody watches any more.
const unwatchedDo = "If it is still there, see how it is, and that the configuration has it under the name it goes by now."

// overWords say how an episode ended: what another configuration ended is not
// over.
func overWords(c farm.Change) string {
	switch c.Ended {
	case farm.Unwatched:
		return "no longer watched"
	case farm.Relimited:
		return "not " + c.Is() + " by the limits now in force"
	}
	return c.Over()
}

// limitWords name the limit that heating will reach.
func (w writer) limitWords(c farm.Change) string {
	z, ok := w.zone(c.Bin, c.Zone)
	level := z.Level(farm.Temperature)
	if !ok || level == nil || level.Bands.IsZero() {
		return "heating, too hot "
	}
	return "heating, " + w.farm.Units.Temperature(level.Bands.Survive.High) + " "
}

// doing is the first line of a notice: what to do, with its amount.
func (w writer) doing(m matter) string {
	c := m.last.Change
	if c.Ended == farm.Unwatched {
		return unwatchedDo
	}
	if m.say == over || m.say == cameWent {
		return "Nothing to do."
	}
	if c.Advice == nil {
		return c.Condition.Row().Do
	}
	if c.Advice.Do != "" {
		return c.Advice.Do
	}
	u := w.farm.Units
	switch a := c.Advice; {
	case a.VisitLitres > 0:
		return "Water it with " + u.Volume(a.VisitLitres) + " and look again on the next round."
	case a.WaterLitres > 0:
		return "Water it with " + u.Volume(a.WaterLitres) + " over a few visits."
	case a.BeddingKg > 0:
		return "Mix in " + u.Mass(a.BeddingKg) + " of dry bedding."
	case a.FeedKg > 0:
		return "Feed it " + u.Mass(a.FeedKg) + "."
	}
	return c.Condition.Row().Do
}

func (w writer) time(t time.Time) string { return farm.SayTime(t, w.now, w.farm.Location) }
func (w writer) day(t time.Time) string  { return farm.SayDay(t, w.now, w.farm.Location) }

func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// listed joins words as in a sentence.
func listed(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

// oneLine makes a text fit for a header or a subject: no control characters,
// no runs of spaces, at most limit runes.
func oneLine(s string, limit int) string {
	s = strings.Join(strings.FieldsFunc(strings.ToValidUTF8(s, "�"), func(r rune) bool {
		return unicode.IsSpace(r) || unicode.IsControl(r) || !unicode.IsPrint(r)
	}), " ")
	if utf8.RuneCountInString(s) <= limit {
		return s
	}
	r := []rune(s)[:limit-1]
	return strings.TrimRight(string(r), " ,;:") + "…"
}
