package page

import (
	"cmp"
	"context"
	"errors"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
)

// A binPage is one bin, looked at closely: its curves over a chosen time, who
// bears what, its probes and its logbook.
type binPage struct {
	shell
	Bin    binView
	About  []string // volume, worms, species: a phrase each
	Spans  []spanLink
	Reach  *reachView
	Probes []probeView
	Log    []logLine
	JotURL string
	Torn   bool
}

type reachView struct {
	Picture template.HTML
	Rows    []reachRow
}

type reachRow struct{ Name, Thrive, Survive string }

const closeTall = 190 // px

func (p *Page) showBin(w http.ResponseWriter, r *http.Request, in fields) error {
	sp, err := spanOf(in.get("span"))
	if err != nil {
		return err
	}
	found, err := p.cfg.Farm().FindPlace(r.PathValue("bin"))
	if err != nil {
		return refuse(http.StatusNotFound, "This farm has %v.", err)
	}
	name := found.Bin
	s, err := p.scene(sp, binURL(name)+"?span="+sp.key)
	if err != nil {
		return err
	}
	conf, ok := s.farm.BinByName(name)
	i := slices.IndexFunc(s.view.Bins, func(b farm.BinView) bool { return b.Name == name })
	if !ok || i < 0 {
		return refuse(http.StatusNotFound, "This farm has no bin %q.", clip(name, 60))
	}
	page := binPage{
		shell: p.live(p.shell(w, r, "bins", farm.Capital(name))), About: s.about(conf),
		Spans: spanLinks(binURL(name), sp), JotURL: jotURL(name, "", ""),
	}
	page.Clock = s.clock(s.view.At)
	diary, err := p.diary(r.Context(), s, name)
	if err != nil {
		p.cfg.Log.Error("page logbook", "bin", name, "error", err)
		s.torn = true
	}
	page.Bin = s.bin(r.Context(), s.view.Bins[i], func(farm.ZoneView) int { return closeTall }, s.closely(r.Context(), conf, diary))
	page.Reach = s.reach(conf, s.view.Bins[i])
	page.Probes = s.probesOf(conf)
	page.Log = diary.lines(s, name)
	page.Torn = s.torn
	return p.show(w, http.StatusOK, "bin", page)
}

// about says what the configuration tells of a bin.
func (s *scene) about(b farm.Bin) []string {
	var out []string
	for _, share := range b.Species {
		name := share.Species
		if sp, ok := s.farm.SpeciesByID(share.Species); ok {
			name = sp.Name
		}
		if share.Fraction < 1 {
			name = short(share.Fraction*100) + " % " + name
		}
		out = append(out, name)
	}
	if b.WormsKg > 0 {
		out = append(out, s.units.Mass(b.WormsKg)+" of worms")
	}
	if b.VolumeL > 0 {
		out = append(out, s.units.Volume(b.VolumeL))
	}
	return out
}

// closely marks the pictures of a bin with what was done and what stood raised.
// Beside the air of its room a bin that heats by itself is told from one that
// follows the weather.
func (s *scene) closely(ctx context.Context, conf farm.Bin, d diary) dress {
	return func(z farm.ZoneView, i int, q farm.Quantity) chart.Chart {
		cut := chart.Chart{Focus: true, Spread: s.span.spread, Spells: d.spells(s, z, q)}
		if i == 0 {
			cut.Marks = d.marks(s, z)
		}
		if q == farm.Temperature && conf.Ambient != "" {
			cut.Room = s.curve(ctx, conf.Name, "", q)
		}
		return cut
	}
}

// reach shows what each species of a bin bears, where there are any.
func (s *scene) reach(b farm.Bin, v farm.BinView) *reachView {
	pic := chart.Reach{
		Label:  "What each species bears: thrive as a thick bar, survive as a thin one.",
		Number: s.units.Temperature,
	}
	var out reachView
	for _, share := range b.Species {
		sp, ok := s.farm.SpeciesByID(share.Species)
		if !ok {
			continue
		}
		t := sp.Temperature
		pic.Rows = append(pic.Rows, chart.ReachRow{Name: sp.Name, Bands: t})
		out.Rows = append(out.Rows, reachRow{sp.Name, s.band(t.Thrive), s.band(t.Survive)})
	}
	if len(pic.Rows) == 0 {
		return nil
	}
	for _, z := range v.Zones {
		if warm := z.Level(farm.Temperature); z.Aim == farm.Living && warm != nil {
			pic.Level, pic.HasLevel = warm.Value, true
			pic.Label += " The line is the temperature now, " + s.units.Temperature(pic.Level) + "."
			break
		}
	}
	out.Picture = pic.SVG()
	return &out
}

func (s *scene) band(b farm.Band) string {
	return s.units.Temperature(b.Low) + " to " + s.units.Temperature(b.High)
}

// A diary is what happened to one bin over a span, in order of time.
type diary struct {
	jots    []farm.Jot
	changes []farm.Change
}

// diary reads what it can; with an error it holds what could be read. What was
// sifted into the bin stands in the logbook of the bin it came from.
func (p *Page) diary(ctx context.Context, s *scene, bin string) (diary, error) {
	from, to := s.now.Add(-s.span.back), s.now.Add(time.Second)
	jots, errJots := p.cfg.History.Jots(ctx, bin, from, to)
	changes, errChanges := p.cfg.History.Changes(ctx, bin, from, to)
	received, errReceived := p.received(ctx, s, bin, from, to)
	jots = append(jots, received...)
	slices.SortStableFunc(jots, func(a, b farm.Jot) int { return a.At.Compare(b.At) })
	return diary{jots: jots, changes: changes}, errors.Join(errJots, errChanges, errReceived)
}

// received are the siftings of other bins into this one, if it keeps castings.
func (p *Page) received(ctx context.Context, s *scene, bin string, from, to time.Time) ([]farm.Jot, error) {
	if !slices.Contains(tubs(s.farm, ""), bin) {
		return nil, nil
	}
	var out []farm.Jot
	for _, b := range s.farm.Bins {
		if b.Name == bin {
			continue
		}
		jots, err := p.cfg.History.Jots(ctx, b.Name, from, to)
		if err != nil {
			return out, err
		}
		for _, j := range jots {
			if j.To == bin {
				out = append(out, j)
			}
		}
	}
	return out, nil
}

// marks are the jots that concern a zone.
func (d diary) marks(s *scene, z farm.ZoneView) []chart.Mark {
	var out []chart.Mark
	for _, j := range d.jots {
		received := j.To == z.Bin && j.Bin != z.Bin
		if received || j.Zone == z.Zone || (j.Zone == "" && z.Aim == farm.Living) {
			out = append(out, chart.Mark{At: j.At, What: string(j.What), Title: s.stamp(j.At) + ": " + sayJot(j, s.units)})
		}
	}
	return out
}

// spells are the times during which conditions of a quantity stood in a zone.
// One that began before the span starts at its edge.
func (d diary) spells(s *scene, z farm.ZoneView, q farm.Quantity) []chart.Spell {
	edge := s.now.Add(-s.span.back)
	open := map[string]chart.Spell{}
	var out []chart.Spell
	for _, c := range d.changes {
		if c.Zone != z.Zone || c.JudgedBy() != q {
			continue
		}
		sp, known := open[c.Episode]
		if !known {
			sp = chart.Spell{From: edge, Title: c.Is()}
			if c.Change == farm.Raised {
				sp.From = c.At
			}
		}
		sp.To, sp.Urgency = c.At, max(sp.Urgency, c.Urgency)
		open[c.Episode] = sp
		if c.Change == farm.Eased {
			out = append(out, sp)
			delete(open, c.Episode)
		}
	}
	for _, r := range s.view.Standing {
		if r.Bin != z.Bin || r.Zone != z.Zone || r.JudgedBy() != q {
			continue
		}
		sp, known := open[r.Episode]
		if !known {
			sp = chart.Spell{From: r.Since, Title: r.Is()}
		}
		sp.To, sp.Urgency = s.now, max(sp.Urgency, r.Urgency)
		out = append(out, sp)
		delete(open, r.Episode)
	}
	slices.SortFunc(out, func(a, b chart.Spell) int {
		return cmp.Or(a.From.Compare(b.From), strings.Compare(a.Title, b.Title))
	})
	return out
}

// A logLine is one line of the logbook: something done, or something said.
type logLine struct {
	At    time.Time
	When  string
	Glyph string
	Text  string
	Done  bool // by the keeper
}

const maxLog = 80

// lines are the logbook, newest first.
func (d diary) lines(s *scene, bin string) []logLine {
	var out []logLine
	for _, j := range d.jots {
		text := farm.Capital(sayJot(j, s.units))
		if j.To == bin {
			text += " from " + j.Bin
		}
		if j.Zone != "" {
			text += ", " + j.Zone
		}
		out = append(out, logLine{At: j.At, When: s.stamp(j.At), Glyph: "j-" + string(j.What), Text: text + ".", Done: true})
	}
	for _, c := range d.changes {
		out = append(out, logLine{At: c.At, When: s.stamp(c.At), Glyph: changeGlyph(c), Text: c.Text})
	}
	slices.SortStableFunc(out, func(a, b logLine) int { return b.At.Compare(a.At) })
	return out[:min(len(out), maxLog)]
}

func changeGlyph(c farm.Change) string {
	if c.Change == farm.Eased || c.Urgency == farm.Calm {
		return "u-calm"
	}
	return "u-" + c.Urgency.String()
}
