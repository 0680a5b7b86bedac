package page

import (
	"cmp"
	"context"
	"encoding/base64"
	"errors"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"binwatchd/internal/farm"
	"binwatchd/internal/jot"
	"binwatchd/internal/quantity"
)

// A jotPage asks one thing after the other: where, what, how much. Each step
// is a page of large links, so that it goes with a thumb and without scripts.
type jotPage struct {
	*visit
	Bin   string // "": it asks where
	Zone  farm.Zone
	Place string
	What  farm.JotKind // "": it asks what was done

	Many   bool    // too many places for one list:
	Places []row   // where to choose from
	Strips []strip // the same by place
	Lately []row   // and those that the last lines were of
	Find   string  // what is looked for in them

	Line     string   // number of the line that is corrected
	Text     string   // in the keeper's words, as they were not understood
	Question string   // what is not clear of them
	Nearest  []string // what they may mean

	Units            []string // none: the form asks for no amount
	Tubs             []string
	Earliest, Latest string // bounds of the time field
}

// A jotChoice is a kind of jot to choose.
type jotChoice struct {
	Kind              farm.JotKind
	Hint, Glyph, Link string
}

// Kinds are the things done to choose from, and a note.
func (j jotPage) Kinds() []jotChoice {
	return j.choices(func(r farm.JotRow) bool { return r.Sight == nil })
}

// Sights are the things seen to choose from.
func (j jotPage) Sights() []jotChoice {
	return j.choices(func(r farm.JotRow) bool { return r.Sight != nil })
}

func (j jotPage) choices(wanted func(farm.JotRow) bool) (all []jotChoice) {
	for _, row := range farm.JotTable {
		leaves := row.Name == farm.Sold || row.Name == farm.Used || row.Name == farm.Spread // where castings are kept
		counted := row.Name == farm.Holds && j.Zone.Aim == farm.Living                      // nobody does
		if wanted(row) && (!leaves || j.Zone.Aim == farm.Keeping) && !counted {
			link := string(address("/jot", "bin", j.Bin, "zone", j.Zone.Name, "what", row.Name))
			all = append(all, jotChoice{row.Name, j.Hint(row.Name), glyphOf(row.Name), link})
		}
	}
	return all
}

// Glyph is the picture of what is written down.
func (j jotPage) Glyph() string { return glyphOf(j.What) }

// Example is a line as it may be written here.
func (j jotPage) Example() string {
	amount := "2 L"
	if j.units == farm.US {
		amount = "½ gal"
	}
	if j.Bin == "" && len(j.Farm.Bins) > 0 {
		return "watered " + j.Farm.Bins[0].Name + " " + amount + ", yesterday evening"
	}
	return "watered " + amount + ", yesterday evening"
}

func glyphOf(k farm.JotKind) string {
	if k.Row().Sight != nil {
		return "j-" + string(farm.Noted)
	}
	return "j-" + string(k)
}

// Hint says what a kind of jot means in the zone. No food lies where is sifted.
func (j jotPage) Hint(k farm.JotKind) string {
	if k == farm.Finished && j.Zone.Aim == farm.Sifting {
		return "no more to sift"
	}
	return k.Row().Hint
}

// OfFood tells whether the form asks of which food the jot is.
func (j jotPage) OfFood() bool {
	return j.What == farm.Fed || (j.What == farm.Finished && j.Zone.Aim != farm.Sifting)
}

// Parts are how full a bin may be in a stock-take, for those who don't measure; none where
// its volume is not known.
func (j jotPage) Parts() map[string]string {
	if b, ok := j.Farm.BinByName(j.Bin); !ok || b.VolumeL == 0 || j.What != farm.Holds {
		return nil
	}
	return map[string]string{"0.25": "¼ full", "0.5": "½ full", "0.75": "¾ full", "1": "Full"}
}

// OfWorms tells whether the form asks of which species the jot is.
func (j jotPage) OfWorms() bool { return ofWorms(j.What) }

func ofWorms(k farm.JotKind) bool { return k == farm.Stocked || k == farm.Lifted }

func (v *visit) showJot() error {
	v.titled("jot", "Jot")
	page := jotPage{visit: v, Find: v.in["find"], Text: v.in["text"]}
	if v.in["bin"] == "" {
		return v.askWhere(page)
	}
	bin, zone, err := v.placeAsked()
	if err != nil {
		return err
	}
	page.Bin, page.Place = bin.Name, v.Farm.SayPlace(bin.Name, zone)
	page.Zone, _ = bin.ZoneByName(zone)
	if v.in["what"] == "" {
		return v.show(http.StatusOK, "jot", page)
	}
	if page.What, err = v.jotKind(); err != nil {
		return err
	}
	if page.What.Row().Amount {
		page.Units = v.unitsFor(page.What)
	}
	if page.What == farm.Sifted {
		page.Tubs = v.tubs(bin.Name)
	}
	now := v.now.In(v.loc)
	v.Back, page.Earliest, page.Latest = binURL(bin.Name), now.Add(-farBack).Format(fieldTime), now.Format(fieldTime)
	return v.show(http.StatusOK, "jot", page)
}

// Of a large farm the zones of the last lines are offered before all others.
const linesLately, zonesLately = 30, 4

// askWhere asks of which zone the line is.
func (v *visit) askWhere(page jotPage) error {
	used := v.Farm.InUse(v.now)
	for _, b := range used.Bins {
		for _, z := range b.Zones {
			page.Places = append(page.Places, v.jotRow(b, z.Name, aimWords[z.Aim]))
		}
	}
	if page.Many = len(used.Bins) > fewBins; !page.Many {
		return v.show(http.StatusOK, "jot", page)
	}
	page.Strips = v.strips(page.Places, "zone", page.Find, sayEnds)
	if one := only(page.Strips); page.Find != "" && one != "" {
		return v.redirect(one)
	}
	if len(page.Strips) == 1 {
		page.Strips[0].Open = true
	}
	lines, err := v.cfg.History.LastLines(v.r.Context(), linesLately)
	v.torn(err, "page last lines")
	for _, line := range lines {
		b, ok := v.Farm.BinByName(line.Bin)
		_, there := b.ZoneByName(line.Zone)
		r := v.jotRow(b, line.Zone, "")
		known := slices.ContainsFunc(page.Lately, func(have row) bool { return have.URL == r.URL })
		if ok && (there || line.Zone == "") && !known && len(page.Lately) < zonesLately {
			page.Lately = append(page.Lately, r)
		}
	}
	return v.show(http.StatusOK, "jot", page)
}

// sayEnds names the first and the last of the rows that are folded.
func sayEnds(rows []row) string {
	if len(rows) == 1 {
		return rows[0].Title
	}
	return rows[0].Title + " to " + rows[len(rows)-1].Title
}

// jotRow is a place to choose.
func (v *visit) jotRow(b farm.Bin, zone, does string) row {
	return row{Title: v.Farm.SayPlace(b.Name, zone), URL: string(address("/jot", "bin", b.Name, "zone", zone)), Word: does, place: b.Room}
}

// tubs are the bins that can take castings in.
func (v *visit) tubs(but string) []string {
	var out []string
	for _, b := range v.Farm.InUse(v.now).Bins {
		keeps := slices.ContainsFunc(b.Zones, func(z farm.Zone) bool { return z.Aim == farm.Keeping })
		if keeps && b.Name != but {
			out = append(out, b.Name)
		}
	}
	return out
}

// jot writes lines into the logbook.
func (v *visit) jot() error {
	switch {
	case v.in["as"] == "struck":
		return v.strike()
	case v.in["text"] != "":
		return v.jotWords()
	}
	j, err := v.readJot()
	if err != nil {
		return err
	}
	said := "Written: " + v.Farm.SayPlace(j.Bin, j.Zone) + " " + v.sayJot(j) + "."
	since, _ := strconv.ParseInt(v.in["since"], 10, 64)
	return v.act(said, farm.Event{Kind: farm.EventJot, Jot: j, Since: since})
}

// longestName bounds what somebody may call themselves, in bytes.
const longestName = 40

// by is who writes: as the form was filled in, for it may come later from a phone that
// others use too, else who has logged in. Nobody writes in the name of somebody with a
// login of their own without leaving theirs.
func (v *visit) by() string {
	if v.who == "" {
		v.inside()
	}
	said := clip(v.in["by"], longestName)
	if p, ok := v.Farm.PersonCalled(said); ok {
		said = p.Name
	}
	if said != "" && said != v.who && v.entry.Load().Owned(said) {
		return said + ", sent by " + cmp.Or(v.who, farm.ByPage)
	}
	return cmp.Or(said, v.who, farm.ByPage)
}

// Listed is when a form was made.
func (v *visit) Listed() string { return v.now.UTC().Format(time.RFC3339) }

// By is who has logged in, for a form that is sent later.
func (v *visit) By() string {
	v.inside()
	return v.who
}

// jotWords writes what a keeper has written in words, or asks about it.
func (v *visit) jotWords() error {
	var here farm.Place
	if v.in["bin"] != "" {
		bin, zone, err := v.placeAsked()
		if err != nil {
			return err
		}
		here = farm.Place{Bin: bin.Name, Zone: zone}
	}
	written, sure := v.filledIn()
	r, err := jot.ReadAt(v.Farm, here, v.in["text"], written)
	if v.in["as"] == "note" {
		r, err = jot.Reading{Jots: []farm.Jot{jot.Note(v.Farm, here, v.in["text"], written)}}, nil
	}
	var q *jot.Question
	if errors.As(err, &q) {
		if v.forProgram() {
			return refuse(http.StatusUnprocessableEntity, "%s", sentence(q.Why))
		}
		v.titled("jot", "Jot")
		page := jotPage{visit: v, Bin: here.Bin, Zone: farm.Zone{Name: here.Zone}, Line: v.in["line"], Text: v.in["text"], Question: sentence(q.Why), Nearest: q.Nearest.Says(v.Farm)}
		v.Back = localPath(v.in["back"])
		return v.show(http.StatusUnprocessableEntity, "jot", page)
	}
	at, events, err := v.inPlaceOf(v.in["line"])
	if err != nil {
		return err
	}
	for _, j := range r.Jots {
		if j.At.IsZero() {
			j.At, j.Uncertain = at, !sure && v.in["line"] == ""
		}
		j.By = v.by()
		events = append(events, farm.Event{Kind: farm.EventJot, Jot: j})
	}
	said := "Written: " + strings.Join(r.Says(v.Farm), "; ") + "."
	if len(r.Took) > 0 {
		said += " Taken: " + strings.Join(r.Took, "; ") + "."
	}
	return v.act(clip(said, longestSaid), events...)
}

// inPlaceOf strikes the line that a form corrects, if it does: what stands in its place
// was done at its time.
func (v *visit) inPlaceOf(id string) (at time.Time, events []farm.Event, err error) {
	if id == "" {
		at, _ = v.filledIn()
		return at, nil, nil
	}
	line, err := v.line(id)
	return line.At, []farm.Event{{Kind: farm.EventStrike, Strike: farm.Strike{Line: line.ID, By: v.by()}}}, err
}

// line finds a line of the diary by its number.
func (v *visit) line(number string) (farm.Jot, error) {
	id, err := strconv.ParseInt(number, 10, 64)
	var line farm.Jot
	if err == nil {
		line, err = v.cfg.History.Line(v.r.Context(), id)
	}
	if err != nil {
		return line, refuse(http.StatusNotFound, "There is no such line in the diary, or it is struck already.")
	}
	return line, nil
}

// strike takes a line back.
func (v *visit) strike() error {
	line, err := v.line(v.in["line"])
	if err != nil {
		return err
	}
	return v.act("Struck: "+jot.Said(v.Farm, line)+". What was learned from it is unlearned.",
		farm.Event{Kind: farm.EventStrike, Strike: farm.Strike{Line: line.ID, By: v.by()}})
}

// showLine shows a line of the diary to be corrected.
func (v *visit) showLine() error {
	line, err := v.line(v.r.PathValue("line"))
	if err != nil {
		return err
	}
	v.titled("jot", "Correct a line")
	v.Back = binURL(line.Bin)
	place := farm.Place{Bin: line.Bin, Zone: line.Zone}.String()
	text := strings.TrimSpace(place + " " + line.Said(quantity.FormatMass, quantity.FormatVolume))
	return v.show(http.StatusOK, "jot", jotPage{visit: v, Line: v.r.PathValue("line"), Text: text, Place: jot.Said(v.Farm, line)})
}

// readJot makes a jot of a form, or says what is wrong with it.
func (v *visit) readJot() (j farm.Jot, err error) {
	bin, zone, err := v.placeAsked()
	if err != nil {
		return j, err
	}
	j = farm.Jot{Bin: bin.Name, Zone: zone, Of: v.in["of"], Words: v.in["words"], By: v.by()}
	if j.What, err = v.jotKind(); err != nil {
		return j, err
	}
	if j.Kg, j.Litres, err = v.amount(v.in["amount"], cmp.Or(v.in["unit"], v.unitsFor(j.What)[0])); err != nil {
		return j, err
	}
	if part, err := strconv.ParseFloat(v.in["part"], 64); err == nil && j.What == farm.Holds && part > 0 && part <= 1 {
		j.Kg, j.Litres = 0, part*bin.Holds(zone)
	}
	_, known := v.Farm.SpeciesByID(j.Of)
	switch {
	case j.What == farm.Holds && j.Litres == 0:
		return j, badInput("Say how much is in it, in litres or gallons, or how full it is; emptied says that nothing is.")
	case j.What == farm.Watered && j.Kg > 0:
		return j, badInput("Water is measured in litres or gallons here.")
	case utf8.RuneCountInString(j.Of) > 40:
		return j, badInput("Say in 40 letters or fewer what it was.")
	case ofWorms(j.What) && j.Of != "" && !known && j.Of != farm.OfCastings:
		return j, badInput("%q is no species of this farm's table.", j.Of)
	}
	if to := v.in["to"]; to != "" {
		if j.What != farm.Sifted {
			return j, badInput("Only what is sifted goes to another bin.")
		}
		tub, err := v.Farm.FindPlace(to)
		if err != nil || !slices.Contains(v.tubs(j.Bin), tub.Bin) {
			return j, badInput("%q is no bin that keeps castings.", to)
		}
		j.To = tub.Bin
	}
	if j.At, err = v.moment(v.in["at"]); err != nil {
		return j, err
	}
	_, sure := v.filledIn()
	j.Uncertain = v.in["at"] == "" && !sure
	if err := jot.Check(v.Farm, j, v.now); err != nil {
		_, why, _ := strings.Cut(err.Error(), ": ")
		return j, badInput("%s", sentence(why))
	}
	return j, nil
}

func (v *visit) jotKind() (farm.JotKind, error) {
	k := farm.JotKind(v.in["what"])
	if !slices.Contains(farm.JotKinds, k) {
		return "", badInput("%q is nothing the diary knows; it takes %s.", clip(string(k), 40), farm.SayChoice(names(farm.JotKinds)))
	}
	return k, nil
}

// placeAsked reads bin and zone of a form; an empty zone is the bin as a whole.
func (v *visit) placeAsked() (farm.Bin, string, error) {
	return v.place(farm.Place{Bin: v.in["bin"], Zone: v.in["zone"]}.String())
}

func (v *visit) place(name string) (farm.Bin, string, error) {
	at, err := v.Farm.FindPlace(name)
	if err != nil {
		return farm.Bin{}, "", refuse(http.StatusNotFound, "This farm has %v.", err)
	}
	bin, _ := v.Farm.BinByName(at.Bin)
	return bin, at.Zone, nil
}

// actWithin bounds a write: an SD card may be slow, not this slow.
const actWithin = 20 * time.Second

// act hands events on, all or none, and answers with the page the form came from. A
// form that comes a second time is not carried out again.
func (v *visit) act(said string, all ...farm.Event) error {
	all[0].Once = v.in["once"]
	err := v.write(all...)
	var stands *farm.Already
	switch isThere := errors.As(err, &stands); {
	case isThere && stands.Own:
		said = "That was written already; nothing was written twice."
	case isThere:
		return v.askAgain(stands.Event)
	case err != nil:
		return err
	}
	if v.forProgram() {
		return v.showJSON(http.StatusOK, map[string]string{"said": said})
	}
	v.say(said)
	return v.redirect(localPath(v.in["back"]))
}

// askAgain tells somebody who has ticked a line that somebody else had ticked by then, and
// asks whether it was done twice.
func (v *visit) askAgain(first farm.Event) error {
	why := cmp.Or(v.Farm.SayPerson(first.Jot.By), "Somebody") + " did that already, " + v.Farm.Dates().Time(first.Jot.At, v.now) + ": " + v.Farm.SayPlace(first.Jot.Bin, first.Jot.Zone) + " " + v.sayJot(first.Jot) + "."
	if v.forProgram() {
		return refuse(http.StatusConflict, "%s", why)
	}
	v.titled("rounds", "Done already")
	v.Back = localPath(v.in["back"])
	kept := maps.Clone(v.in)
	delete(kept, "since")
	return v.show(http.StatusConflict, "already", struct {
		*visit
		Why  string
		Kept fields
	}{v, why, kept})
}

// write hands events on, all or none.
func (v *visit) write(all ...farm.Event) error {
	for i := range all {
		all[i].Arrived = v.cfg.Now()
	}
	// Not the request's own context alone: a phone that loses its network
	// after sending must not leave a line half written.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(v.r.Context()), actWithin)
	defer cancel()
	err := v.cfg.Act(ctx, all...)
	if stands := (*farm.Already)(nil); errors.As(err, &stands) {
		return err
	}
	if err != nil {
		v.cfg.Log.Error("page write", "kind", all[0].Kind, "error", err)
		return refuse(http.StatusServiceUnavailable, "It could not be written just now, and nothing was noted. Try again in a minute.")
	}
	return nil
}

// longestSaid bounds the sentence for the next page, in bytes.
const longestSaid = 600

const saidCookie = "binwatch_said"

// say leaves one sentence for the next page, in a cookie that lasts a minute.
func (v *visit) say(sentence string) {
	v.setCookie(saidCookie, base64.RawURLEncoding.EncodeToString([]byte(sentence)), 60)
}

// Said takes the sentence left for this page, once: what was just done.
func (v *visit) Said() string {
	said := v.cookie(saidCookie)
	if !v.Home || said == "" || len(said) > 2*longestSaid {
		return ""
	}
	v.setCookie(saidCookie, "", -1)
	b, err := base64.RawURLEncoding.DecodeString(said)
	if err != nil {
		return ""
	}
	return string(b)
}

// names are kinds as texts.
func names(kinds []farm.JotKind) (all []string) {
	for _, k := range kinds {
		all = append(all, string(k))
	}
	return all
}
