package page

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"binwatchd/internal/farm"
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
	ID, URL    string
	Measures   farm.Quantity
	Where      string
	Value, Raw string
	Age        string
	Word       string // speaking, slow, silent, not believed, never heard
	Shape      string
	Doubt      string
	Flags      []string
	Pace       string // where it is another than the keeper has said
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
	page := probesPage{shell: p.live(p.shell(w, r, "Probes")), Messages: tallies(s.view.Intake.Messages), Refused: s.refused()}
	page.Nav = "probes"
	for _, pv := range s.view.Probes {
		page.Probes = append(page.Probes, s.probe(pv))
	}
	slices.SortStableFunc(page.Probes, func(a, b probeView) int { return boolInt(b.trouble) - boolInt(a.trouble) })
	page.Heading = probesHeading(page.Probes)
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
		r.Newest = append(r.Newest, parkedRow{capital(s.until(n.At)), n.Reason, n.Line})
	}
	return r
}

func probesHeading(probes []probeView) string {
	n := 0
	for _, pv := range probes {
		n += boolInt(pv.trouble)
	}
	switch {
	case len(probes) == 0:
		return "No probe is known yet."
	case n == 0:
		return "Every probe speaks and is believed."
	case n == 1:
		return "One probe needs a look."
	}
	return capital(number(n)) + " probes need a look."
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
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
		ID: pv.ID, URL: probeURL(pv.ID), Measures: pv.Measures, Where: s.probeWhere(pv.ID),
		Age: s.age(pv.At), Doubt: pv.Doubt, Flags: flagWords(pv.Flags), Pace: pv.Pace,
		Counts: tallies(pv.Counts), Rejected: tallies(pv.Rejected),
	}
	conf, _ := s.farm.ProbeByID(pv.ID)
	if pv.Value != nil {
		out.Value = s.probeValue(conf, *pv.Value)
	}
	if pv.Raw != nil {
		out.Raw = strconv.FormatFloat(math.Round(*pv.Raw*1000)/1000, 'f', -1, 64)
		if conf.Unit != "" && conf.Unit != farm.RawUnit {
			out.Raw += " " + string(conf.Unit)
		}
	}
	silent := slices.ContainsFunc(s.view.Standing, func(r farm.Standing) bool { return r.Condition == farm.Silent && r.Probe == pv.ID })
	switch {
	case pv.At.IsZero():
		out.Word, out.Shape, out.trouble = "never heard", "p-none", true
	case silent && pv.Fresh && pv.Pace != "":
		out.Word, out.Shape, out.trouble = "slow", "p-none", true
	case silent || !pv.Fresh:
		out.Word, out.Shape, out.trouble = "silent", "p-none", true
	case pv.Doubt != "":
		out.Word, out.Shape, out.trouble = "not believed", "p-doubt", true
	default:
		out.Word, out.Shape = "speaking", "p-in"
	}
	return out
}

// flagWords say what a flag of the newest reading means.
func flagWords(flags []string) []string {
	var out []string
	for _, f := range flags {
		switch f {
		case "misdated":
			f = "Its own time is not believed; the time of arrival stands in for it."
		case "time uncertain":
			f = "It waited on its way and bears no time of its own: shown, and left out of trends."
		case "retained":
			f = "Kept by the broker from before; not fresh."
		}
		out = append(out, f)
	}
	return out
}

func probeURL(id string) string { return "/probes/" + url.PathEscape(id) }

// probeValue says a probe's value; a battery's in its own unit.
func (s *scene) probeValue(conf farm.Probe, x float64) string {
	if conf.Measures != farm.Battery {
		return s.measure(conf.Measures, x)
	}
	if conf.Unit == farm.Percent || conf.Unit == farm.Ratio {
		return short(x) + " %"
	}
	return strconv.FormatFloat(x, 'f', 2, 64) + " V"
}

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
	for what, n := range m {
		if n > 0 {
			out = append(out, tally{strings.ReplaceAll(what, "_", " "), n})
		}
	}
	slices.SortFunc(out, func(a, b tally) int { return strings.Compare(a.What, b.What) })
	return out
}
