package page

import (
	"cmp"
	"errors"
	"net/http"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
)

// A binPage is one bin, looked at closely: its curves over a chosen time, who
// likes what, its probes and its diary.
type binPage struct {
	*visit
	Bin    binView
	About  []string // volume, worms, species: a phrase each
	Reach  *chart.Reach
	Probes []probeView

	// What happened to it over the span, in order of time.
	conf    farm.Bin
	jots    []farm.Jot
	struck  []farm.Strike
	changes []farm.Change
}

const closeTall = 190 // px

func (v *visit) showBin() error {
	sp, err := spanOf(v.in["span"])
	if err != nil {
		return err
	}
	called := v.r.PathValue("bin")
	found, _, err := v.place(called)
	former := slices.ContainsFunc(found.Was, func(was string) bool { return strings.EqualFold(was, called) })
	if now, _ := v.cfg.History.BinCalled(v.r.Context(), called); err != nil && now != "" {
		found, _, err = v.place(now)
		former = true
	}
	if err != nil {
		return err
	}
	if former { // not for ever: another bin may be called so one day
		return v.redirect(binURL(found.Name) + "?span=" + sp.key)
	}
	if err := v.look(sp, binURL(found.Name)+"?span="+sp.key); err != nil {
		return err
	}
	now := v.stands(found)
	if len(now.Zones) == 0 {
		return refuse(http.StatusNotFound, "This farm has no bin %q.", clip(found.Name, 60))
	}
	v.titled("bins", farm.Capital(found.Name))
	v.live()
	v.Clock = v.clock(v.View.At)
	page := binPage{visit: v, conf: found, About: v.about(found), Reach: v.reach(found, now)}
	page.readDiary()
	page.Bin = v.bin(now, page.dress)
	for _, pv := range v.View.Probes {
		if v.probePlace(pv.ID).Bin == found.Name || pv.ID == found.Ambient {
			page.Probes = append(page.Probes, v.probe(pv))
		}
	}
	return v.show(http.StatusOK, "bin", &page)
}

// stands is how a bin stands, with its zones that are retired.
func (v *visit) stands(b farm.Bin) farm.BinView {
	out := farm.BinView{Name: b.Name}
	if i := slices.IndexFunc(v.View.Bins, func(now farm.BinView) bool { return now.Name == b.Name }); i >= 0 {
		out.Zones = slices.Clone(v.View.Bins[i].Zones)
	}
	for _, r := range v.View.Retired {
		if z, ok := b.ZoneByName(r.Zone); ok && r.Bin == b.Name {
			out.Zones = append(out.Zones, farm.ZoneView{Bin: b.Name, Zone: z.Name, Aim: z.Aim})
		}
	}
	return out
}

// retired says since when a zone is out of use; "" when it is not.
func (v *visit) retired(z farm.ZoneView) string {
	for _, r := range v.View.Retired {
		if r.Bin == z.Bin && r.Zone == z.Zone {
			return "Retired " + v.dates().Day(r.Since, v.now) + ": kept to look back on, and no longer judged."
		}
	}
	return ""
}

// about says what the configuration tells of a bin.
func (v *visit) about(b farm.Bin) (out []string) {
	for _, share := range b.Species {
		name := share.Species
		if sp, ok := v.Farm.SpeciesByID(share.Species); ok {
			name = sp.Name
		}
		if share.Fraction < 1 {
			name = short(share.Fraction*100) + " % " + name
		}
		out = append(out, name)
	}
	if b.WormsKg > 0 {
		out = append(out, v.units.Mass(b.WormsKg)+" of worms")
	}
	if b.VolumeL > 0 {
		out = append(out, v.units.Volume(b.VolumeL))
	}
	return out
}

// reach shows in what warmth each species of a bin lives; nil where there are none.
func (v *visit) reach(b farm.Bin, now farm.BinView) *chart.Reach {
	pic := chart.Reach{
		Label:  "Where each species does well, where it survives, and where there is harm.",
		Number: v.units.Temperature,
	}
	for _, share := range b.Species {
		if sp, ok := v.Farm.SpeciesByID(share.Species); ok {
			pic.Rows = append(pic.Rows, chart.ReachRow{Name: sp.Name, Bands: sp.Temperature})
		}
	}
	if len(pic.Rows) == 0 {
		return nil
	}
	for _, z := range now.Zones {
		if warm := z.Level(farm.Temperature); z.Aim == farm.Living && warm != nil {
			pic.Level, pic.HasLevel = warm.Value, true
			pic.Label += " The dot is the temperature now, " + v.units.Temperature(pic.Level) + "."
			break
		}
	}
	return &pic
}

// readDiary reads what it can. A bin that keeps castings has the siftings of other
// bins into it too, though these stand in the logbook of the bin they came from.
func (p *binPage) readDiary() {
	ctx, from, to := p.r.Context(), p.now.Add(-p.span.back), p.now.Add(time.Second)
	changes, err := p.cfg.History.Changes(ctx, p.conf.Name, from, to)
	p.changes = changes
	receives := slices.Contains(p.tubs(""), p.conf.Name)
	for _, b := range p.Farm.Bins {
		if b.Name != p.conf.Name && !receives {
			continue
		}
		jots, errJots := p.cfg.History.Jots(ctx, b.Name, from, to)
		err = errors.Join(err, errJots)
		struck, errStruck := p.cfg.History.Struck(ctx, b.Name, from, to)
		err = errors.Join(err, errStruck)
		for _, j := range jots {
			if p.concerns(j) {
				p.jots = append(p.jots, j)
			}
		}
		for _, s := range struck {
			if p.concerns(s.Jot) {
				p.struck = append(p.struck, s)
			}
		}
	}
	slices.SortStableFunc(p.jots, func(a, b farm.Jot) int { return a.At.Compare(b.At) })
	p.torn(err, "page logbook", "bin", p.conf.Name)
}

// concerns tells whether a line belongs into the diary of the bin.
func (p *binPage) concerns(j farm.Jot) bool { return j.Bin == p.conf.Name || j.To == p.conf.Name }

// dress marks the pictures of the bin with what was done and what stood raised.
// Beside the air of its room a bin that heats by itself is told from one that
// follows the weather.
func (p *binPage) dress(z farm.ZoneView, i int, q farm.Quantity) chart.Chart {
	cut := chart.Chart{Height: closeTall, Focus: true, Spread: p.span.spread, Spells: p.spells(z, q)}
	if i == 0 {
		cut.Marks = p.marks(z)
	}
	if q == farm.Temperature && p.conf.Ambient != "" {
		cut.Room = p.curve(p.conf.Name, "", q)
	}
	return cut
}

// marks are the jots that concern a zone.
func (p *binPage) marks(z farm.ZoneView) []chart.Mark {
	var out []chart.Mark
	for _, j := range p.jots {
		received := j.To == z.Bin && j.Bin != z.Bin
		if received || j.Zone == z.Zone || (j.Zone == "" && z.Aim == farm.Living) {
			out = append(out, chart.Mark{At: j.At, What: strings.TrimPrefix(glyphOf(j.What), "j-"), Title: p.Stamp(j.At) + ": " + p.sayJot(j)})
		}
	}
	return out
}

// spells are the times during which conditions of a quantity stood in a zone.
// One that began before the span starts at its edge.
func (p *binPage) spells(z farm.ZoneView, q farm.Quantity) []chart.Spell {
	open := map[string]chart.Spell{}
	var out []chart.Spell
	stood := func(episode, is string, from, to time.Time, u farm.Urgency, over bool) {
		sp, known := open[episode]
		if !known {
			sp = chart.Spell{From: from, Title: is}
		}
		sp.To, sp.Urgency = to, max(sp.Urgency, u)
		if open[episode] = sp; over {
			out = append(out, sp)
			delete(open, episode)
		}
	}
	for _, c := range p.changes {
		if c.Zone == z.Zone && c.JudgedBy() == q {
			from := p.now.Add(-p.span.back)
			if c.Change == farm.Raised {
				from = c.At
			}
			stood(c.Episode, c.Is(), from, c.At, c.Urgency, c.Change == farm.Eased)
		}
	}
	for _, r := range p.View.Standing {
		if r.Bin == z.Bin && r.Zone == z.Zone && r.JudgedBy() == q {
			stood(r.Episode, r.Is(), r.Since, p.now, r.Urgency, true)
		}
	}
	slices.SortFunc(out, func(a, b chart.Spell) int {
		return cmp.Or(a.From.Compare(b.From), strings.Compare(a.Title, b.Title))
	})
	return out
}

// A logLine is one line of the logbook: something done, or something said.
type logLine struct {
	At    time.Time
	Glyph string
	Text  string
	Done  bool  // by the keeper
	Line  int64 // its number, where it can be corrected; else 0
	By    string
	Gone  string // who struck it and when; "": it stands
}

const maxLog = 80

// Log is the logbook, newest first.
func (p *binPage) Log() []logLine {
	var out []logLine
	for _, j := range p.jots {
		out = append(out, p.logged(j))
	}
	for _, s := range p.struck {
		l := p.logged(s.Jot)
		l.Line, l.Gone = 0, "struck "+p.Stamp(s.At)
		if who := p.Farm.SayPerson(s.By); who != "" {
			l.Gone = "struck by " + who + ", " + p.Stamp(s.At)
		}
		out = append(out, l)
	}
	for _, c := range p.changes {
		glyph := "u-" + c.Urgency.String()
		if c.Change == farm.Eased {
			glyph = "u-calm"
		}
		out = append(out, logLine{At: c.At, Glyph: glyph, Text: c.Text})
	}
	slices.SortStableFunc(out, func(a, b logLine) int { return b.At.Compare(a.At) })
	return out[:min(len(out), maxLog)]
}

// logged is a jot as a line of the diary.
func (p *binPage) logged(j farm.Jot) logLine {
	text := farm.Capital(p.sayJot(j))
	if j.To == p.conf.Name {
		text += " from " + j.Bin
	}
	if j.Zone != "" {
		text += ", " + j.Zone
	}
	return logLine{At: j.At, Glyph: glyphOf(j.What), Text: text + ".", Done: true, Line: j.ID, By: p.Farm.SayPerson(j.By)}
}
