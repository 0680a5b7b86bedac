package notify

import (
	"context"
	"fmt"
	"regexp"
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
	file    string                    // of the configuration; "" when it is not known
	view    farm.View                 // zero when it is not known
	history History                   // nil: no pictures
	ahead   func() (farm.Ahead, bool) // nil: nothing is said of it
	now     time.Time

	cfg    Config
	tokens Tokens // nil: mails have no buttons
	to     string // the name of whom a mail goes to, or else the address

	known map[string]bool // episodes of which its reader was told before
}

// newWriter makes a writer for one bundle.
func newWriter(cfg Config, src Sources, now time.Time) writer {
	w := writer{farm: cfg.Farm, file: cfg.File, history: src.History, ahead: src.Ahead, now: now, cfg: cfg, tokens: src.Tokens}
	if src.Look != nil {
		w.view, _ = src.Look()
	}
	return w
}

func (w writer) time(t time.Time) string { return w.farm.Dates().Time(t, w.now) }

// current gives the items of a bundle as they stand at the time of writing:
// between a change and its notice lie seconds or, when a server was down, days,
// and what a person reads must go with the figures beside it.
func (w writer) current(b bundle) []item {
	items := slices.Clone(b.items)
	for i := range items {
		it := &items[i]
		it.then = it.last.Change
		if st, ok := standing(&w.view, it.then.Episode); ok && it.say != over && it.say != cameWent {
			it.last.Change = asOfNow(it.then, st)
			if it.say == lighter {
				it.last.Change.Text = "Better, though not right yet. " + it.last.Change.Text
			}
		}
	}
	return items
}

// content puts a bundle into words.
func (w writer) content(ctx context.Context, b bundle) content {
	items := w.current(b)
	w.known = b.known
	if len(items) > 1 || w.isCause(items) {
		return w.several(ctx, items)
	}
	it := items[0]
	change := it.last.Change
	c := content{Subject: w.subject(it), First: w.doing(it), Now: it.atNow(), Foot: w.foot(), Pasted: w.commands(it)}
	c.add(part{Lines: w.saying(it)})
	if it.say != over && it.say != cameWent {
		c.add(part{Rows: w.foreseen(change)})
	}
	c.add(w.acts(ctx, it, []string{change.Episode}), part{Pictures: w.pictures(ctx, change)}, w.readings(change), w.done(ctx, change), part{Cautions: change.Cautions})
	return c
}

// isCause tells whether what is told is of a cause that shows elsewhere, too.
func (w writer) isCause(items []item) bool {
	live, _ := livePart(items)
	all := w.sections(live)
	return len(all) == 1 && all[0].said != nil
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
	foreseen := c.Forecast != nil && !c.Forecast.Crosses.IsZero()
	closes := c.Advice != nil && c.Advice.Closes != nil
	switch {
	case it.say == over:
		return overWords(c)
	case it.say == cameWent:
		return c.Is() + ", and over"
	case foreseen && c.Condition == farm.Heating:
		limit := "too hot"
		if l := w.level(c.Bin, c.Zone, farm.Temperature); l != nil && !l.Bands.IsZero() {
			limit = w.farm.Units.Temperature(l.Bands.Survive.High)
		}
		return "heating, " + limit + " by " + w.time(c.Forecast.Crosses)
	case foreseen && c.Condition == farm.Drying:
		return "drying, too dry by " + w.time(c.Forecast.Crosses)
	case closes && c.Condition == farm.SiftReady:
		return "ready to sift until " + w.farm.Dates().Day(*c.Advice.Closes, w.now)
	case closes && c.Condition == farm.SiftPassing:
		return "sift it by " + w.time(*c.Advice.Closes)
	case c.Brief != "" && utf8.RuneCountInString(c.Brief) <= 60:
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
	case farm.Came:
		return c.Condition.Row().Becomes.Row().Is + " now"
	}
	return c.Over()
}

const nothingToDo = "Nothing to do."

// lateAfter is how late a notice says that it is.
const lateAfter = 30 * time.Minute

// doing is the first line of a notice: what to do, with its amount.
func (w writer) doing(it item) string {
	c := it.last.Change
	switch {
	case c.Ended == farm.Unwatched:
		return "If it is still there, see how it is, and that the configuration has it under the name it goes by now."
	case c.Ended == farm.Came:
		return c.Condition.Row().Becomes.Row().Do
	case it.say == over || it.say == cameWent:
		return nothingToDo
	case c.Advice == nil:
		return c.Condition.Row().Do
	case c.Advice.Do != "":
		return c.Advice.Do
	}
	if doses := w.doses(*c.Advice); len(doses) > 0 {
		return doses[0].do
	}
	return c.Condition.Row().Do
}

// saying is the change in whole sentences, and what went before or has come
// since.
func (w writer) saying(it item) []string {
	c := it.last.Change
	lines := []string{c.Text}
	known, _ := standing(&w.view, c.Episode)
	switch it.say {
	case over:
		if c.Ended != farm.Unwatched { // how long it was so and how bad it was is not known
			lines = append(lines, w.howItWas(c))
		}
	case cameWent:
		return []string{w.cameWentLine(it) + overUntold}
	case still:
		lines = append(lines, fmt.Sprintf("It has been so for %s.", farm.SayLong(w.now.Sub(c.Since))))
		if !known.Back(w.now) {
			lines[1] += " This comes again until it is over, or marked as seen, or hushed."
		}
	}
	switch {
	case it.say == over || known.Known == "" || known.Seen && known.KnownBy == w.to:
	case known.Back(w.now):
		lines = append(lines, known.Known+", and it goes on.")
	default:
		lines = append(lines, known.Known+".")
	}
	for _, o := range it.before {
		lines = append(lines, fmt.Sprintf("Before that, %s: %s", w.time(o.Change.At), o.Change.Text))
	}
	if late := w.now.Sub(c.At); late > lateAfter && it.say != still {
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

// overUntold ends the line about a single episode that came and went.
const overUntold = " It was over before it could be told."

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
	return line + "."
}

// foreseen are the forecast with its interval, the doses and the window.
func (w writer) foreseen(c farm.Change) (rows [][2]string) {
	if f := c.Forecast; f != nil && !f.Crosses.IsZero() {
		rows = append(rows, [2]string{"Foreseen", w.forecast(c, *f)})
	}
	if a := c.Advice; a != nil {
		for _, d := range w.doses(*a) {
			rows = append(rows, [2]string{d.name, d.amount})
		}
		if a.Opens != nil && a.Closes != nil {
			rows = append(rows, [2]string{"Time to sift", w.farm.Dates().Span(*a.Opens, *a.Closes, w.now)})
		}
	}
	return rows
}

func (w writer) forecast(c farm.Change, f farm.Forecast) string {
	line := w.crossed(c) + " by " + w.time(f.Crosses)
	switch {
	case !f.Earliest.IsZero() && !f.Latest.IsZero():
		line += fmt.Sprintf("; four times in five between %s and %s", bare(w.time(f.Earliest)), bare(w.time(f.Latest)))
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
	case c == farm.Cooling:
		return b.Survive.Low, true
	case level > b.Thrive.Low || c == farm.Drying || c == farm.SiftReady:
		return b.Thrive.Low, true
	}
	return b.Survive.Low, true
}

// bare takes the "about" from a time that is one end of an interval.
func bare(s string) string { return strings.Replace(s, "about ", "", 1) }

// A dose is an amount to give: what it is called, how much, and what to do with it
// where the advice has no words of its own.
type dose struct{ name, amount, do string }

// doses are those of an advice, what is to be given first in front.
func (w writer) doses(a farm.Advice) (out []dose) {
	u, basis := w.farm.Units, ""
	if a.DryMassKg > 0 { // it was worked out from that
		from := map[string]string{"guess": ", which is a guess from its volume", "learned": ", learned from waterings"}[a.DryMassFrom]
		basis = fmt.Sprintf(" (for %s of dry matter%s)", u.MassGiven(a.DryMassKg), from)
	}
	give := func(amount float64, said, name, basis, do string) {
		if amount > 0 {
			out = append(out, dose{name, said + basis, fmt.Sprintf(do, said)})
		}
	}
	inAll, bedding := u.Volume(a.WaterLitres), u.Mass(a.BeddingKg)
	if a.LitresHigh > 0 {
		inAll = u.VolumeRange(a.LitresLow, a.LitresHigh)
	}
	if a.KgHigh > 0 {
		bedding = u.MassRange(a.KgLow, a.KgHigh)
	}
	give(a.VisitLitres, u.Volume(a.VisitLitres), "This visit", "", "Water it with %s and look again on the next round.")
	give(a.WaterLitres, inAll, "In all", basis, "Water it with %s over a few visits.")
	give(a.BeddingKg, bedding, "Dry bedding", basis, "Mix in %s of dry bedding.")
	give(a.FeedKg, u.Mass(a.FeedKg), "Feed", "", "Feed it %s.")
	return out
}

// foot says where the notice is from, and of when.
func (w writer) foot() string {
	return fmt.Sprintf("%s, %s", w.farm.Name, w.farm.Dates().Short(w.now)+w.now.In(w.farm.Location).Format(" 2006 15:04 MST"))
}

// commands say how to be left alone.
func (w writer) commands(it item) [][2]string {
	c := it.last.Change
	if it.say == over || it.say == cameWent {
		return nil
	}
	all := [][2]string{{"I know", w.command("seen", c.Episode)}}
	if c.Bin != "" {
		place := farm.Place{Bin: c.Bin, Zone: c.Zone}.String()
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

// plainWord is of letters, digits and a few marks, none of which has a meaning of
// its own anywhere in a word.
var plainWord = regexp.MustCompile(`^[-A-Za-z0-9_./:,+@%]+$`)

// quoted writes a word so that a POSIX shell takes it as it is.
func quoted(word string) string {
	if plainWord.MatchString(word) {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}
