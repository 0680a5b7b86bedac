package page

import (
	"cmp"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
)

// A frontPage is the first sight: what wants the keeper, then every bin, the
// most needy first.
type frontPage struct {
	*visit
	count     [farm.Now + 1]int // of what is not quiet
	Causes    []causeView       // what several bins suffer from together
	Wants     []wantView        // what else is not quiet, most urgent first
	More      int               // how many more there are
	Unsure    []string          // what is not known
	Unreached []string          // who can't be told
	Own       []raisedView      // raised, but in no bin
	Rest      []wantView        // those of a large farm that are folded
	Bins      []binView
	Many      bool    // too many bins for a picture of each: strips of rows
	Strips    []strip // then
	Find      string  // what is looked for in them
}

// A causeView is what several bins or probes suffer from together, with what is not quiet of
// that.
type causeView struct {
	farm.Shared
	ID string
	Of []raisedView // in the order in which to see to them
}

// IDs names all of them, as a form does.
func (c causeView) IDs() string {
	var ids []string
	for _, r := range c.Of {
		ids = append(ids, r.Episode)
	}
	return strings.Join(ids, " ")
}

// Where names the bins, or else the probes, that it shows in.
func (c causeView) Where() string {
	var names []string
	for _, r := range c.Of {
		if !slices.Contains(names, r.Place) {
			names = append(names, r.Place)
		}
	}
	slices.Sort(names)
	return farm.SayNames(names)
}

// causes are those that the keeper has not hushed or seen.
func (v *visit) causes() (all []causeView) {
	for i, c := range v.View.Causes {
		view := causeView{Shared: c, ID: fmt.Sprintf("cause-%d", i)}
		for _, id := range c.Episodes {
			if k := slices.IndexFunc(v.raised, func(r raisedView) bool { return r.Episode == id && r.Quiet == "" }); k >= 0 {
				view.Of = append(view.Of, v.raised[k])
			}
		}
		if len(view.Of) > 0 {
			all = append(all, view)
		}
	}
	return all
}

// A wantView is one line of the first list, with a small curve.
type wantView struct {
	raisedView
	Curve template.HTML
	URL   string // where more is said of it
}

type binView struct {
	farm.BinView
	Zones []zoneView
	need  int // by what is most urgent in it
}

const (
	maxWants  = 5
	manyWants = 8   // of a farm of many bins, before the list is folded
	maxUnsure = 5   // what the first sight says is not known
	wantTall  = 38  // px
	needyTall = 132 // px
	calmTall  = 96
)

func (v *visit) showFront() error {
	if err := v.look(glance, "/"); err != nil {
		return err
	}
	v.titled("bins", "Bins")
	v.live()
	v.Clock = v.clock(v.View.At)
	page := frontPage{visit: v, Unsure: v.View.Unsure(v.dates()), Unreached: v.View.Unreached(v.dates()), Own: v.raisedIn[farm.Place{}]}
	if more := len(page.Unsure) - maxUnsure; more > 1 {
		page.Unsure = append(page.Unsure[:maxUnsure], fmt.Sprintf("And %d more of that kind further down.", more))
	}
	page.Many = len(v.View.Bins) > fewBins
	most := maxWants
	if page.Many {
		most = manyWants
	}
	page.Causes = v.causes()
	for _, c := range page.Causes {
		page.count[c.Urgency]++
	}
	for _, r := range v.raised {
		if r.Quiet != "" || slices.ContainsFunc(page.Causes, func(c causeView) bool { return slices.Contains(c.Episodes, r.Episode) }) {
			continue
		}
		page.count[r.Urgency]++
		url := "#" + anchor(r.Where.Bin, r.Where.Zone)
		if page.Many && r.Where.Bin != "" {
			url = binURL(r.Where.Bin) + url
		}
		switch {
		case len(page.Wants) < most:
			page.Wants = append(page.Wants, wantView{r, v.smallCurve(r), url})
		case page.Many:
			page.Rest = append(page.Rest, wantView{r, "", url})
		default:
			page.More++
		}
	}
	if page.Many {
		page.Find = v.in["find"]
		page.Strips = v.binStrips(page.Find)
		if one := only(page.Strips); page.Find != "" && one != "" {
			return v.redirect(one)
		}
		return v.show(http.StatusOK, "front", page)
	}
	for _, b := range v.View.Bins {
		page.Bins = append(page.Bins, v.bin(b, func(z farm.ZoneView, _ int, _ farm.Quantity) chart.Chart {
			if v.need(z) > 0 {
				return chart.Chart{Height: needyTall}
			}
			return chart.Chart{Height: calmTall}
		}))
	}
	slices.SortStableFunc(page.Bins, func(a, b binView) int { return b.need - a.need })
	return v.show(http.StatusOK, "front", page)
}

// Opening says in one sentence how the farm stands.
func (p frontPage) Opening() string {
	switch {
	case len(p.Wants)+len(p.Causes) > 0:
		return things(p.count)
	case len(p.raised) > 0:
		return "Nothing new: all that is raised is known or kept quiet."
	case p.View.NothingHeard():
		return "Nothing is known yet: no reading has come."
	case len(p.Unsure) > 0:
		return "Nothing is raised, but not everything is known to be well."
	}
	return "Nothing is wrong and nothing is due."
}

// bin makes the view of a bin; its pictures begin as dress has it. What is hushed or
// known of counts little for its need, what cannot be judged counts too.
func (v *visit) bin(b farm.BinView, dress dress) binView {
	conf, _ := v.Farm.BinByName(b.Name)
	out := binView{BinView: b}
	for _, z := range b.Zones {
		zone := v.zone(conf, z, dress)
		if len(b.Zones) == 1 {
			zone.Name = "" // the bin's own name says it
		}
		if out.need = max(out.need, v.need(z)); z.Unjudged != "" || len(z.Unknown) > 0 {
			out.need = max(out.need, 2)
		}
		out.Zones = append(out.Zones, zone)
	}
	return out
}

// Title is the bin's name as a heading.
func (b binView) Title() string { return farm.Capital(b.Name) }

// need is how much a zone wants a hand: 0 nothing, 1 quiet, then by urgency.
func (v *visit) need(z farm.ZoneView) int {
	need := 0
	for _, r := range v.raisedIn[farm.Place{Bin: z.Bin, Zone: z.Zone}] {
		need = max(need, r.need())
	}
	return need
}

// smallCurve is the curve a condition speaks of, or that of its probe's
// quantity; none where it speaks of neither.
func (v *visit) smallCurve(r raisedView) template.HTML {
	q := v.quantityOf(&r)
	conf, _ := v.Farm.BinByName(r.Where.Bin)
	for _, b := range v.View.Bins {
		for _, z := range b.Zones {
			if r.Where == (farm.Place{Bin: z.Bin, Zone: z.Zone}) && slices.Contains(v.measured(conf, z), q) {
				return v.gaugeOf(conf, z, q, chart.Chart{Height: wantTall, Bare: true}).Picture
			}
		}
	}
	return ""
}

// quantityOf is the quantity that a condition speaks of, or that of its probe.
func (v *visit) quantityOf(r *raisedView) farm.Quantity {
	p, _ := v.Farm.ProbeByID(r.Probe)
	return cmp.Or(r.JudgedBy(), p.Measures)
}

// things puts the counts into a sentence: "Two things need you now, one today."
func things(count [farm.Now + 1]int) string {
	var parts []string
	for u := farm.Now; u > farm.Calm; u-- {
		switch n := count[u]; {
		case n == 0:
		case len(parts) > 0:
			parts = append(parts, number(n)+" "+u.String())
		case n == 1:
			parts = append(parts, "One thing needs you "+u.String())
		default:
			parts = append(parts, farm.Capital(number(n))+" things need you "+u.String())
		}
	}
	return strings.Join(parts, ", ") + "."
}

func number(n int) string {
	if words := []string{"", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"}; n < len(words) {
		return words[n]
	}
	return strconv.Itoa(n)
}
