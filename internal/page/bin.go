package page

import (
	"context"
	"html/template"
	"net/http"
	"slices"

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
