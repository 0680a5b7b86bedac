package page

import (
	"html/template"
	"net/http"
	"slices"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
)

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
	Unit     string
	Weighing calibrationForm
}

func (p *Page) showProbe(w http.ResponseWriter, r *http.Request) error {
	in, err := readQuery(r)
	if err != nil {
		return err
	}
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
	page := probePage{shell: p.shell(w, r, id), Probe: s.probe(s.view.Probes[i]), Topic: conf.Topic, Pointer: conf.Value, Points: conf.Calibration}
	page.Nav = "probes"
	page.Every = farm.SayLong(conf.Every)
	page.Spans = spanLinks(probeURL(id), sp)
	page.Picture = s.probeCurve(r, conf, s.view.Probes[i])
	page.Torn = s.torn
	page.Unit = conf.Row().Written(s.units).Word
	page.Weighing = s.calibrate(conf, s.view.Probes[i], in)
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
	return s.gauge(conf.Measures, "", level, nil, cut).Picture
}
