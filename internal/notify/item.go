package notify

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"binwatchd/internal/farm"
)

// A writer puts bundles into words, from the changes that are told and from how
// the farm stands at the time of writing.
type writer struct {
	farm    farm.Farm
	file    string    // of the configuration; "" when it is not known
	view    farm.View // zero when it is not known
	history History   // nil: no pictures
	now     time.Time
}

// newWriter makes a writer for one bundle.
func newWriter(cfg Config, src Sources, now time.Time) writer {
	w := writer{farm: cfg.Farm, file: cfg.File, history: src.History, now: now}
	if src.Look != nil {
		w.view, _ = src.Look()
	}
	return w
}

func (w writer) time(t time.Time) string { return farm.SayTime(t, w.now, w.farm.Location) }

// current gives the items of a bundle as they stand at the time of writing:
// between a change and its notice lie seconds or, when a server was down, days,
// and what a person reads must go with the figures beside it.
func (w writer) current(b bundle) []item {
	items := slices.Clone(b.items)
	for i := range items {
		it := &items[i]
		it.then = it.last.Change
		st, ok := standing(&w.view, it.last.Change.Episode)
		if !ok || it.say == over || it.say == cameWent {
			continue
		}
		it.last.Change = asOfNow(it.last.Change, st)
		if it.say == lighter {
			it.last.Change.Text = "Better, though not right yet. " + it.last.Change.Text
		}
	}
	return items
}

// content puts a bundle into words.
func (w writer) content(ctx context.Context, b bundle) content {
	items := w.current(b)
	if len(items) > 1 {
		return w.several(ctx, items)
	}
	it := items[0]
	change := it.last.Change
	c := content{Subject: w.subject(it), First: w.doing(it), Now: it.atNow(), Foot: w.foot(), Pasted: w.commands(it)}
	c.add(part{Lines: w.saying(it)})
	if it.say != over && it.say != cameWent {
		c.add(part{Rows: w.foreseen(change)})
	}
	c.add(part{Pictures: w.pictures(ctx, change)}, w.readings(change), w.done(ctx, change))
	c.addCautions(change.Cautions)
	return c
}

// place names what an item is about: "Bed, near", "Crate" when it has only one
// zone, "Probe bed-t", or the farm itself.
func (w writer) place(it item) string {
	c := it.last.Change
	switch {
	case c.Probe != "":
		return "Probe " + c.Probe
	case c.Bin == "":
		return w.farm.Name
	}
	if _, ok := w.farm.BinByName(c.Bin); !ok && c.Ended == farm.Unwatched {
		return farm.Capital(c.Bin)
	}
	return w.zonePlace(c.Bin, c.Zone)
}

func (w writer) zonePlace(bin, zone string) string {
	b, _ := w.farm.BinByName(bin)
	_, known := b.ZoneByName(zone)
	return farm.SayPlace(bin, zone, known && len(b.Zones) == 1)
}

// subject is what a phone shows of a single item.
func (w writer) subject(it item) string {
	s := w.place(it) + ": " + w.words(it)
	switch {
	case it.say == still:
		s = "Still: " + s
	case it.pressing():
		s = "Now: " + s
	}
	return oneLine(s, 120)
}

// words say in a few words what an item is: "too hot at 33 °C", "heating, 32 °C
// by about 4 pm".
func (w writer) words(it item) string {
	c := it.last.Change
	switch it.say {
	case over:
		return overWords(c)
	case cameWent:
		return c.Is() + ", and over"
	}
	if c.Forecast != nil && !c.Forecast.Crosses.IsZero() {
		at := w.time(c.Forecast.Crosses)
		switch c.Condition {
		case farm.Heating:
			limit := "too hot"
			if l := w.level(c.Bin, c.Zone, farm.Temperature); l != nil && !l.Bands.IsZero() {
				limit = w.farm.Units.Temperature(l.Bands.Survive.High)
			}
			return "heating, " + limit + " by " + at
		case farm.Drying:
			return "drying, too dry by " + at
		}
	}
	if c.Advice != nil && c.Advice.Closes != nil {
		switch c.Condition {
		case farm.SiftReady:
			return "ready to sift until " + farm.SayDay(*c.Advice.Closes, w.now, w.farm.Location)
		case farm.SiftPassing:
			return "sift it by " + w.time(*c.Advice.Closes)
		}
	}
	if c.Brief != "" && utf8.RuneCountInString(c.Brief) <= 60 {
		return c.Brief
	}
	return c.Is()
}

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

// doing is the first line of a notice: what to do, with its amount.
func (w writer) doing(it item) string {
	c := it.last.Change
	switch {
	case c.Ended == farm.Unwatched:
		return "If it is still there, see how it is, and that the configuration has it under the name it goes by now."
	case it.say == over || it.say == cameWent:
		return "Nothing to do."
	case c.Advice == nil:
		return c.Condition.Row().Do
	}
	u := w.farm.Units
	switch a := c.Advice; {
	case a.Do != "":
		return a.Do
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

// saying is the change in whole sentences, and what went before or has come
// since.
func (w writer) saying(it item) []string {
	c := it.last.Change
	lines := []string{c.Text}
	switch it.say {
	case over:
		if c.Ended != farm.Unwatched { // how long it was so and how bad it was is not known
			lines = append(lines, w.howItWas(c))
		}
	case cameWent:
		return []string{w.cameWentLine(it)}
	case still:
		lines = append(lines, fmt.Sprintf("It has been so for %s. This comes again until it is over, or marked as seen, or hushed.", farm.SayLong(w.now.Sub(c.Since))))
	}
	for _, o := range it.before {
		lines = append(lines, fmt.Sprintf("Before that, %s: %s", w.time(o.Change.At), o.Change.Text))
	}
	if late := w.now.Sub(c.At); late > 30*time.Minute && it.say != still {
		lines = append(lines, w.lateness(it, late))
	}
	return lines
}

// lateness says that a notice could not be told in time, and how things stood
// then, where they stand otherwise by now.
func (w writer) lateness(it item, late time.Duration) string {
	line := fmt.Sprintf("This was noticed %s ago, %s, and could not be told sooner.", farm.SayLong(late), w.time(it.then.At))
	switch {
	case it.then.Text != it.last.Change.Text:
		line += " It was then: " + it.then.Text
	case it.say == over:
		line += " How it stands by now is below."
	}
	return line
}

// howItWas says how long an episode lasted and what it reached.
func (w writer) howItWas(c farm.Change) string {
	var said []string
	if !c.Since.IsZero() {
		said = append(said, fmt.Sprintf("it lasted %s, from %s to %s", farm.SayLong(c.At.Sub(c.Since)), w.time(c.Since), w.time(c.At)))
	}
	if c.Peak != nil {
		said = append(said, "it reached "+w.farm.Units.Say(c.JudgedBy(), *c.Peak))
	}
	if len(said) == 0 {
		return ""
	}
	return farm.Capital(strings.Join(said, ", and ")) + "."
}

// cameWentLine is the one line about an episode that was over before it could
// be told.
func (w writer) cameWentLine(it item) string {
	c := it.last.Change
	line := fmt.Sprintf("%s was %s", w.place(it), c.Is())
	if !c.Since.IsZero() {
		line += fmt.Sprintf(" for %s, from %s", farm.SayLong(c.At.Sub(c.Since)), w.time(c.Since))
	}
	if c.Peak != nil {
		line += ", at worst " + w.farm.Units.Say(c.JudgedBy(), *c.Peak)
	}
	return line + ". It was over before it could be told."
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
	return farm.Capital(line) + "."
}

// crossed names the limit that a forecast speaks of.
func (w writer) crossed(c farm.Change) string {
	if c.Condition == farm.SiftReady || c.Condition == farm.SiftPassing {
		return "too dry to sift"
	}
	q := c.JudgedBy()
	if l := w.level(c.Bin, c.Zone, q); l != nil {
		if limit, ok := nextLimit(c.Condition, l.Bands, l.Value); ok {
			return w.farm.Units.Say(q, limit)
		}
	}
	return "the limit"
}

// nextLimit is the limit that a condition's forecast speaks of: the next one on
// its side of the level.
func nextLimit(c farm.Condition, b farm.Bands, level float64) (limit float64, ok bool) {
	switch side := c.Row().Side; {
	case b.IsZero(), side == farm.NoSide:
		return 0, false
	case side == farm.Above:
		return b.Survive.High, true
	case level > b.Thrive.Low || c == farm.Drying || c == farm.SiftReady:
		return b.Thrive.Low, true
	}
	return b.Survive.Low, true
}

// bare takes the "about" from a time that is one end of an interval.
func bare(s string) string { return strings.Replace(s, "about ", "", 1) }

func (w writer) amounts(a farm.Advice) [][2]string {
	var rows [][2]string
	u, basis := w.farm.Units, w.standsOn(a)
	for _, dose := range []struct {
		name   string
		amount float64
		say    func(float64) string
		basis  string
	}{
		{"This visit", a.VisitLitres, u.Volume, ""}, {"In all", a.WaterLitres, u.Volume, basis},
		{"Dry bedding", a.BeddingKg, u.Mass, basis}, {"Feed", a.FeedKg, u.Mass, ""},
	} {
		if dose.amount > 0 {
			rows = append(rows, [2]string{dose.name, dose.say(dose.amount) + dose.basis})
		}
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
	return fmt.Sprintf(" (for %s of dry matter%s)", w.farm.Units.MassGiven(a.DryMassKg), from)
}

// foot says where the notice is from, and of when.
func (w writer) foot() []string {
	return []string{fmt.Sprintf("%s, %s", w.farm.Name, w.now.In(w.farm.Location).Format("Mon 2 Jan 2006 15:04 MST"))}
}

// commands say how to be left alone.
func (w writer) commands(it item) [][2]string {
	c := it.last.Change
	if it.say == over || it.say == cameWent {
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

// command writes a command of this program as it can be pasted into a shell on
// the machine that it runs on.
func (w writer) command(words ...string) string {
	if w.file != "" {
		words = append(words, "--config", w.file)
	}
	said := "binwatchd"
	for _, word := range words {
		said += " " + quoted(word)
	}
	return said
}

// quoted writes a word so that a POSIX shell takes it as it is. Letters, digits
// and a few marks have no meaning of their own anywhere in a word.
func quoted(word string) string {
	odd := func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("-_./:,+@%", r))
	}
	if word != "" && !strings.ContainsFunc(word, odd) {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}
