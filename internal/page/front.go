package page

import (
	"cmp"
	"context"
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
	Opening   string
	Wants     []wantView   // what is not quiet, most urgent first
	More      int          // how many more there are
	Unsure    []string     // what is not known
	Unreached []string     // who can't be told
	Own       []raisedView // raised, but in no bin
	Bins      []binView
}

// A wantView is one line of the first list, with a small curve.
type wantView struct {
	raisedView
	Curve template.HTML
}

type binView struct {
	farm.BinView
	Zones []zoneView
}

const (
	maxWants  = 5
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
	page := frontPage{visit: v, Unsure: v.View.Unsure(v.loc), Unreached: v.View.Unreached(v.loc), Own: v.raisedIn[farm.Place{}]}
	if more := len(page.Unsure) - maxUnsure; more > 1 {
		page.Unsure = append(page.Unsure[:maxUnsure], fmt.Sprintf("And %d more of that kind further down.", more))
	}
	page.open(v.r.Context())
	for _, b := range v.byNeed() {
		page.Bins = append(page.Bins, v.bin(v.r.Context(), b, func(z farm.ZoneView, _ int, _ farm.Quantity) chart.Chart {
			if v.need(z) > 0 {
				return chart.Chart{Height: needyTall}
			}
			return chart.Chart{Height: calmTall}
		}))
	}
	return v.show(http.StatusOK, "front", page)
}

// open says in one sentence how the farm stands, and lists what is behind it.
func (p *frontPage) open(ctx context.Context) {
	count := map[farm.Urgency]int{}
	for _, r := range p.raised {
		if r.Quiet != "" {
			continue
		}
		count[r.Urgency]++
		if len(p.Wants) < maxWants {
			p.Wants = append(p.Wants, wantView{r, p.smallCurve(ctx, r)})
		} else {
			p.More++
		}
	}
	switch {
	case len(count) > 0:
		p.Opening = things(count)
	case len(p.raised) > 0:
		p.Opening = "Nothing new: all that is raised you have hushed or know of."
	case p.View.NothingHeard():
		p.Opening = "Nothing is known yet: no reading has come."
	case len(p.Unsure) > 0:
		p.Opening = "Nothing is raised, but not everything is known to be well."
	default:
		p.Opening = "Nothing is wrong and nothing is due."
	}
}

// bin makes the view of a bin; its pictures begin as dress has it.
func (v *visit) bin(ctx context.Context, b farm.BinView, dress dress) binView {
	conf, _ := v.Farm.BinByName(b.Name)
	out := binView{BinView: b}
	for _, z := range b.Zones {
		zone := v.zone(ctx, conf, z, dress)
		if len(b.Zones) == 1 {
			zone.Name = "" // the bin's own name says it
		}
		out.Zones = append(out.Zones, zone)
	}
	return out
}

// Title is the bin's name as a heading.
func (b binView) Title() string { return farm.Capital(b.Name) }

// byNeed orders the bins by what is most urgent in them; what is hushed or
// known of counts little, what cannot be judged counts too. Bins of equal need
// stay in the order of the configuration.
func (v *visit) byNeed() []farm.BinView {
	need := map[string]int{}
	for _, b := range v.View.Bins {
		for _, z := range b.Zones {
			need[b.Name] = max(need[b.Name], v.need(z))
			if z.Unjudged != "" || len(z.Unknown) > 0 {
				need[b.Name] = max(need[b.Name], 2)
			}
		}
	}
	bins := slices.Clone(v.View.Bins)
	slices.SortStableFunc(bins, func(a, b farm.BinView) int { return need[b.Name] - need[a.Name] })
	return bins
}

// need is how much a zone wants a hand: 0 nothing, 1 quiet, then by urgency.
func (v *visit) need(z farm.ZoneView) int {
	need := 0
	for _, r := range v.raisedIn[farm.Place{Bin: z.Bin, Zone: z.Zone}] {
		n := 1
		if r.Quiet == "" {
			n += int(r.Urgency)
		}
		need = max(need, n)
	}
	return need
}

// smallCurve is the curve a condition speaks of, or that of its probe's
// quantity; none where it speaks of neither.
func (v *visit) smallCurve(ctx context.Context, r raisedView) template.HTML {
	q := r.JudgedBy()
	if p, ok := v.Farm.ProbeByID(r.Probe); ok {
		q = cmp.Or(q, p.Measures)
	}
	conf, _ := v.Farm.BinByName(r.Where.Bin)
	for _, b := range v.View.Bins {
		for _, z := range b.Zones {
			if r.Where == (farm.Place{Bin: z.Bin, Zone: z.Zone}) && slices.Contains(v.measured(conf, z), q) {
				return v.gaugeOf(ctx, conf, z, q, chart.Chart{Height: wantTall, Bare: true}).Picture
			}
		}
	}
	return ""
}

// things puts the counts into a sentence: "Two things want you now, one today."
func things(count map[farm.Urgency]int) string {
	var parts []string
	for u := farm.Now; u > farm.Calm; u-- {
		switch n := count[u]; {
		case n == 0:
		case len(parts) > 0:
			parts = append(parts, number(n)+" "+u.String())
		case n == 1:
			parts = append(parts, "One thing wants you "+u.String())
		default:
			parts = append(parts, farm.Capital(number(n))+" things want you "+u.String())
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
