package page

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"slices"
	"strings"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
	"binwatchd/internal/reliability"
	"binwatchd/internal/snippet"
)

// A probesPage is every probe by place, those in trouble at length, and what came in that
// no probe could use.
type probesPage struct {
	*visit
	Troubled int // how many of them
	Strips   []strip
	Find     string // what is looked for in them
}

// A probeView is one probe as the page shows it.
type probeView struct {
	farm.ProbeView
	Value, Raw string
	Word       string // speaking, slow, silent, not believed, never heard
	Shape      string
	Flags      []string
	trouble    bool
}

func (v *visit) showProbes() error {
	if err := v.look(twoDays, "/probes"); err != nil {
		return err
	}
	v.titled("probes", "Probes")
	v.live()
	page := probesPage{visit: v, Find: v.in["find"]}
	var rows []row
	for _, pv := range v.View.Probes {
		p := v.probe(pv)
		row := row{Title: pv.ID, URL: probeURL(pv.ID), Shape: p.Shape, Value: cmp.Or(p.Value, noValue), Word: v.Where(pv.ID), place: v.roomOf(pv.ID), Probe: &p}
		if p.trouble {
			page.Troubled++
		}
		if p.trouble || len(p.Flags) > 0 {
			row.need, row.Word = 2, row.Word+" "+p.Word // to be found by
		}
		rows = append(rows, row)
	}
	page.Strips = v.strips(rows, "probe", page.Find, func(calm []row) string { return fmt.Sprintf("%d speaking and believed", len(calm)) })
	if one := only(page.Strips); page.Find != "" && one != "" {
		return v.redirect(one)
	}
	return v.show(http.StatusOK, "probes", page)
}

// roomOf is the place that a probe sits in, or whose air it measures.
func (v *visit) roomOf(id string) string {
	for _, room := range v.Farm.Rooms {
		if room.Air == id {
			return room.Name
		}
	}
	bin := v.probePlace(id).Bin
	for _, b := range v.Farm.Bins {
		if bin == "" && b.Ambient == id {
			return b.Room
		}
	}
	return v.Farm.RoomOf(bin)
}

func (v *visit) probe(pv farm.ProbeView) probeView {
	out := probeView{ProbeView: pv, Shape: "p-none", trouble: true}
	conf, _ := v.Farm.ProbeByID(pv.ID)
	if pv.Value != nil {
		out.Value = conf.Row().Written(v.units).String(*pv.Value)
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
	silent := slices.ContainsFunc(v.raised, func(r raisedView) bool { return r.Condition == farm.Silent && r.Probe == pv.ID })
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

// Where says where a probe sits.
func (v *visit) Where(id string) string {
	if at := v.probePlace(id); at.Bin != "" {
		return v.Farm.SayPlace(at.Bin, at.Zone)
	}
	var rooms []string
	for _, room := range v.Farm.Rooms {
		if room.Air == id {
			return "the air of " + room.Name
		}
	}
	for _, b := range v.Farm.Bins {
		if b.Ambient == id {
			rooms = append(rooms, b.Name)
		}
	}
	if len(rooms) > 0 {
		return "the air around " + strings.Join(rooms, ", ")
	}
	return "no bin"
}

// A reliabilityPage is how each probe did over a month.
type reliabilityPage struct {
	*visit
	Probes []reliability.Probe
	Do     string
}

func (v *visit) showReliability() error {
	if v.cfg.Reliability == nil {
		return v.notHere()
	}
	if err := v.look(twoDays, "/probes"); err != nil {
		return err
	}
	v.titled("probes", "How reliable the probes are")
	list, err := v.cfg.Reliability(v.r.Context())
	v.torn(err, "page reliability")
	return v.show(http.StatusOK, "reliability", reliabilityPage{v, list, reliability.ReplaceDo})
}

// Did says how a probe did.
func (v *visit) Did(p reliability.Probe) string { return p.Say(v.Farm.Dates(), v.now) }

// Reliable tells whether it can be shown how each probe did.
func (v *visit) Reliable() bool { return v.cfg.Reliability != nil }

// A probePage is one probe closely: its own curve and its calibration.
type probePage struct {
	*visit
	Probe    probeView
	Conf     farm.Probe
	Every    string
	Picture  template.HTML
	PointsIn string // unit of the points' values; "" for none
	Unit     string
	Weighing calibrationForm
}

func (v *visit) showProbe() error {
	sp, err := spanOf(v.in["span"])
	if err != nil {
		return err
	}
	if err := v.look(sp, "/probes"); err != nil {
		return err
	}
	id := v.r.PathValue("probe")
	i := slices.IndexFunc(v.View.Probes, func(p farm.ProbeView) bool { return p.ID == id })
	conf, ok := v.Farm.ProbeByID(id)
	if i < 0 || !ok {
		return refuse(http.StatusNotFound, "This farm has no probe %q.", clip(id, 60))
	}
	v.titled("probes", id)
	pv := v.View.Probes[i]
	page := probePage{
		visit: v, Probe: v.probe(pv), Conf: conf, Every: farm.SayLong(conf.Every), Picture: v.probeCurve(conf, pv),
		PointsIn: conf.Row().Metric.Word, Unit: conf.Row().Written(v.units).Word, Weighing: v.calibrate(conf, pv),
	}
	if conf.Measures == farm.Moisture {
		page.PointsIn = "% of fresh mass"
	}
	return v.show(http.StatusOK, "probe", page)
}

// probeCurve draws what a probe said by itself, in the bands of no zone.
func (v *visit) probeCurve(conf farm.Probe, pv farm.ProbeView) template.HTML {
	to := v.now.Truncate(v.span.step).Add(v.span.step)
	samples, err := v.cfg.History.ProbeSamples(v.r.Context(), conf.ID, to.Add(-v.span.back), to, v.span.step)
	v.torn(err, "page curve", "probe", conf.ID)
	cut := chart.Chart{
		Height: closeTall, From: v.now.Add(-v.span.back), To: v.now.Add(v.span.back / 50), Step: v.span.step,
		Samples: samples, Spread: v.span.spread, Focus: true,
	}
	var level *farm.LevelView
	if pv.Value != nil && pv.Doubt == "" {
		level = &farm.LevelView{Value: *pv.Value, At: pv.At, Fresh: pv.Fresh}
	}
	return v.gauge(conf.Row(), "", level, cut).Picture
}
