package page

import (
	"cmp"
	"fmt"
	"html/template"
	"maps"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
	"binwatchd/internal/snippet"
)

// A probesPage is every probe, those in trouble first, and what came in that
// no probe could use.
type probesPage struct {
	shell
	Heading  string
	Probes   []probeView
	Messages []tally
	Refused  *parkedRows
}

// A probeView is one probe as the page shows it.
type probeView struct {
	farm.ProbeView
	URL        string
	Measures   string
	Where      string
	Value, Raw string
	Age        string
	Word       string // speaking, slow, silent, not believed, never heard
	Shape      string
	Flags      []string
	Counts     []tally
	Rejected   []tally
	trouble    bool
}

// A tally is a number of readings or messages and what became of them.
type tally struct {
	What string
	N    int64
}

func (p *Page) showProbes(w http.ResponseWriter, r *http.Request) error {
	s, err := p.scene(twoDays, "/probes")
	if err != nil {
		return err
	}
	page := probesPage{
		shell:    p.live(p.shell(w, r, "probes", "Probes")),
		Messages: tallies(s.view.Intake.Messages), Refused: s.refused(),
	}
	for _, pv := range s.view.Probes {
		page.Probes = append(page.Probes, s.probe(pv))
	}
	troubled := slices.DeleteFunc(slices.Clone(page.Probes), func(v probeView) bool { return !v.trouble })
	sound := slices.DeleteFunc(page.Probes, func(v probeView) bool { return v.trouble })
	page.Probes = slices.Concat(troubled, sound)
	page.Heading = probesHeading(len(page.Probes), len(troubled))
	return p.show(w, http.StatusOK, "probes", page)
}

// A parkedRows section lists what the database refused for good, newest first.
type parkedRows struct {
	Heading string
	Newest  []parkedRow
}

type parkedRow struct{ When, Reason, Line string }

// refused gives the section; nil when there is nothing to list.
func (s *scene) refused() *parkedRows {
	p := s.view.Passing
	if p == nil || p.Refusals == 0 {
		return nil
	}
	r := &parkedRows{Heading: fmt.Sprint("Rows that the database has refused for good: ", p.Refusals)}
	for _, n := range p.Newest {
		r.Newest = append(r.Newest, parkedRow{farm.Capital(s.until(n.At)), n.Reason, n.Line})
	}
	return r
}

func probesHeading(probes, troubled int) string {
	switch {
	case probes == 0:
		return "No probe is known yet."
	case troubled == 0:
		return "Every probe speaks and is believed."
	case troubled == 1:
		return "One probe needs a look."
	}
	return farm.Capital(number(troubled)) + " probes need a look."
}

// probesOf are the probes that sit in a bin, its ambient one included.
func (s *scene) probesOf(b farm.Bin) []probeView {
	var out []probeView
	for _, pv := range s.view.Probes {
		bin, _ := probePlace(s.farm, pv.ID)
		if bin == b.Name || pv.ID == b.Ambient {
			out = append(out, s.probe(pv))
		}
	}
	return out
}

func (s *scene) probe(pv farm.ProbeView) probeView {
	out := probeView{
		ProbeView: pv, URL: probeURL(pv.ID), Measures: pv.Measures.Row().Noun, Where: s.probeWhere(pv.ID),
		Age: s.age(pv.At), Counts: tallies(pv.Counts), Rejected: tallies(pv.Rejected),
	}
	conf, _ := s.farm.ProbeByID(pv.ID)
	if pv.Value != nil {
		out.Value = conf.Row().Written(s.units).String(*pv.Value)
	}
	if pv.Raw != nil {
		out.Raw = snippet.Number(math.Round(*pv.Raw*1000) / 1000)
		if conf.Unit != "" && conf.Unit != farm.RawUnit {
			out.Raw += " " + string(conf.Unit)
		}
	}
	for _, flag := range pv.Flags {
		out.Flags = append(out.Flags, cmp.Or(flagSays[flag], flag))
	}
	silent := slices.ContainsFunc(s.view.Standing, func(r farm.Standing) bool { return r.Condition == farm.Silent && r.Probe == pv.ID })
	out.Shape, out.trouble = "p-none", true
	switch {
	case pv.At.IsZero():
		out.Word = "never heard"
	case silent && pv.Fresh && pv.Pace != "":
		out.Word = "slow"
	case silent || !pv.Fresh:
		out.Word = "silent"
	case pv.Doubt != "":
		out.Word, out.Shape = "not believed", "p-doubt"
	default:
		out.Word, out.Shape, out.trouble = "speaking", "p-in", false
	}
	return out
}

// flagSays says what a flag of the newest reading means.
var flagSays = map[string]string{
	"misdated":       "Its own time is not believed; the time of arrival stands in for it.",
	"time uncertain": "It waited on its way and bears no time of its own: shown, and left out of trends.",
	"retained":       "Kept by the broker from before; not fresh.",
}

func probeURL(id string) string { return "/probes/" + url.PathEscape(id) }

// probeWhere says where a probe sits.
func (s *scene) probeWhere(id string) string {
	if bin, zone := probePlace(s.farm, id); bin != "" {
		b, _ := s.farm.BinByName(bin)
		return placeName(b, zone)
	}
	var rooms []string
	for _, b := range s.farm.Bins {
		if b.Ambient == id {
			rooms = append(rooms, b.Name)
		}
	}
	if len(rooms) > 0 {
		return "the air around " + strings.Join(rooms, ", ")
	}
	return "no bin"
}

// tallies are counts in order of their names, those of nothing left out.
func tallies(m map[string]int64) []tally {
	var out []tally
	for _, what := range slices.Sorted(maps.Keys(m)) {
		if m[what] > 0 {
			out = append(out, tally{strings.ReplaceAll(what, "_", " "), m[what]})
		}
	}
	return out
}

// A probePage is one probe closely: its own curve and its calibration.
type probePage struct {
	shell
	Probe    probeView
	Topic    string
	Pointer  string
	Every    string
	Picture  template.HTML
	Spans    []spanLink
	Torn     bool
	Points   []farm.Point
	PointsIn string // unit of their values; "" for none
	Unit     string
	Weighing calibrationForm
}

func (p *Page) showProbe(w http.ResponseWriter, r *http.Request, in fields) error {
	sp, err := spanOf(in.get("span"))
	if err != nil {
		return err
	}
	s, err := p.scene(sp, "/probes")
	if err != nil {
		return err
	}
	id := r.PathValue("probe")
	i := slices.IndexFunc(s.view.Probes, func(v farm.ProbeView) bool { return v.ID == id })
	conf, ok := s.farm.ProbeByID(id)
	if i < 0 || !ok {
		return refuse(http.StatusNotFound, "This farm has no probe %q.", clip(id, 60))
	}
	pv := s.view.Probes[i]
	page := probePage{
		shell: p.shell(w, r, "probes", id), Probe: s.probe(pv), Topic: conf.Topic, Pointer: conf.Value,
		Every: farm.SayLong(conf.Every), Picture: s.probeCurve(r, conf, pv), Spans: spanLinks(probeURL(id), sp),
		Points: conf.Calibration, Unit: conf.Row().Written(s.units).Word, Weighing: s.calibrate(conf, pv, in),
	}
	if page.Torn = s.torn; conf.Measures == farm.Moisture {
		page.PointsIn = "% of fresh mass"
	} else {
		page.PointsIn = conf.Row().Metric.Word
	}
	return p.show(w, http.StatusOK, "probe", page)
}

// probeCurve draws what a probe said by itself, in the bands of no zone.
func (s *scene) probeCurve(r *http.Request, conf farm.Probe, pv farm.ProbeView) template.HTML {
	to := s.now.Truncate(s.span.step).Add(s.span.step)
	samples, err := s.p.cfg.History.ProbeSamples(r.Context(), conf.ID, to.Add(-s.span.back), to, s.span.step)
	if err != nil {
		s.p.cfg.Log.Error("page curve", "probe", conf.ID, "error", err)
		s.torn = true
	}
	cut := chart.Chart{
		Height: closeTall, From: s.now.Add(-s.span.back), To: s.now.Add(s.span.back / 50), Step: s.span.step,
		Samples: samples, Spread: s.span.spread, Focus: true,
	}
	var level *farm.LevelView
	if pv.Value != nil && pv.Doubt == "" {
		level = &farm.LevelView{Value: *pv.Value, At: pv.At, Fresh: pv.Fresh}
	}
	return s.gauge(conf.Row(), "", level, nil, cut).Picture
}
