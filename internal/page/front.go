package page

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
)

// A frontPage is the first sight: what wants the keeper, then every bin, the
// most needy first.
type frontPage struct {
	shell
	Opening   string
	Wants     []wantView   // what is not quiet, most urgent first
	More      int          // how many more there are
	Unsure    []string     // what is not known
	Unreached []string     // who can't be told
	Own       []raisedView // raised, but in no bin
	Bins      []binView
	Needs     []farm.NeedView
	Torn      bool
}

// A wantView is one line of the first list, with a small curve.
type wantView struct {
	raisedView
	Curve template.HTML
}

type binView struct {
	Name, Title, URL string
	Zones            []zoneView
}

const (
	maxWants  = 5
	wantTall  = 38  // px
	needyTall = 132 // px
	calmTall  = 96
)

func (p *Page) showFront(w http.ResponseWriter, r *http.Request) error {
	s, err := p.scene(glance, "/")
	if err != nil {
		return err
	}
	page := frontPage{shell: p.live(p.shell(w, r, "bins", "Bins")), Unsure: s.unsure(), Unreached: s.view.Unreached(s.loc), Needs: s.view.Needs}
	page.Clock = s.clock(s.view.At)
	page.Opening, page.Wants, page.More = s.opening(r.Context())
	for _, standing := range s.view.Standing {
		if bin, _ := s.placeOf(standing); bin == "" {
			page.Own = append(page.Own, s.raised(standing))
		}
	}
	for _, b := range s.byNeed() {
		page.Bins = append(page.Bins, s.bin(r.Context(), b, s.tall, nil))
	}
	page.Torn = s.torn
	return p.show(w, http.StatusOK, "front", page)
}

// tall is the height of a zone's pictures in px.
func (s *scene) tall(z farm.ZoneView) int {
	if s.need(z.Bin, z.Zone) > 0 {
		return needyTall
	}
	return calmTall
}

// bin makes the view of a bin; dress puts into a picture what the page shows in
// it besides the curve.
func (s *scene) bin(ctx context.Context, b farm.BinView, tall func(farm.ZoneView) int, dress dress) binView {
	conf, _ := s.farm.BinByName(b.Name)
	out := binView{Name: b.Name, Title: farm.Capital(b.Name), URL: binURL(b.Name)}
	for _, z := range b.Zones {
		zone := s.zone(ctx, conf, z, tall(z), dress)
		if len(b.Zones) == 1 {
			zone.Name = "" // the bin's own name says it
		}
		out.Zones = append(out.Zones, zone)
	}
	return out
}

func binURL(name string) string { return "/bins/" + url.PathEscape(name) }

// byNeed orders the bins by what is most urgent in them; what is hushed or
// known of counts little, what cannot be judged counts too. Bins of equal need
// stay in the order of the configuration.
func (s *scene) byNeed() []farm.BinView {
	bins := slices.Clone(s.view.Bins)
	slices.SortStableFunc(bins, func(a, b farm.BinView) int { return s.binNeed(b) - s.binNeed(a) })
	return bins
}

func (s *scene) binNeed(b farm.BinView) int {
	need := 0
	for _, z := range b.Zones {
		need = max(need, s.need(z.Bin, z.Zone))
		if z.Unjudged != "" || len(z.Unknown) > 0 {
			need = max(need, 2)
		}
	}
	return need
}

// need is how much a zone wants a hand: 0 nothing, 1 quiet, then by urgency.
func (s *scene) need(bin, zone string) int {
	need := 0
	for _, r := range s.view.Standing {
		if b, z := s.placeOf(r); b != bin || z != zone {
			continue
		}
		n := 1 + int(r.Urgency)
		if s.quiet(r) {
			n = 1
		}
		need = max(need, n)
	}
	return need
}

func (s *scene) quiet(r farm.Standing) bool {
	return r.Seen || (r.Hushed != nil && r.Hushed.After(s.now))
}

// opening says in one sentence how the farm stands, and lists what is behind
// it.
func (s *scene) opening(ctx context.Context) (sentence string, wants []wantView, more int) {
	count := map[farm.Urgency]int{}
	quiet := 0
	for _, r := range s.view.Standing {
		if s.quiet(r) {
			quiet++
			continue
		}
		count[r.Urgency]++
		if len(wants) < maxWants {
			wants = append(wants, wantView{s.raised(r), s.smallCurve(ctx, r)})
		} else {
			more++
		}
	}
	switch {
	case len(count) > 0:
		sentence = things(count)
	case quiet > 0:
		sentence = "Nothing new: all that is raised you have hushed or know of."
	case s.view.NothingHeard():
		sentence = "Nothing is known yet: no reading has come."
	case len(s.view.Unsure(s.loc)) > 0:
		sentence = "Nothing is raised, but not everything is known to be well."
	default:
		sentence = "Nothing is wrong and nothing is due."
	}
	return sentence, wants, more
}

// smallCurve is the curve a condition speaks of, or that of its probe's
// quantity; none where it speaks of neither.
func (s *scene) smallCurve(ctx context.Context, r farm.Standing) template.HTML {
	q := r.JudgedBy()
	if p, ok := s.farm.ProbeByID(r.Probe); ok && q == "" {
		q = p.Measures
	}
	bin, zone := s.placeOf(r)
	conf, _ := s.farm.BinByName(bin)
	for _, b := range s.view.Bins {
		for _, z := range b.Zones {
			if b.Name == bin && z.Zone == zone && slices.Contains(s.measured(conf, z), q) {
				return s.gaugeOf(ctx, conf, z, q, wantTall, chart.Chart{Bare: true}).Picture
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

// maxUnsure bounds what the first sight says is not known.
const maxUnsure = 5

// unsure says what is not known, the rest counted.
func (s *scene) unsure() []string {
	all := s.view.Unsure(s.loc)
	if len(all) > maxUnsure+1 {
		all = append(all[:maxUnsure:maxUnsure], fmt.Sprintf("And %d more of that kind further down.", len(all)-maxUnsure))
	}
	return all
}
