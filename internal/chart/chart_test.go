package chart_test

import (
	"cmp"
	"encoding/xml"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	gocmp "github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
)

var update = flag.Bool("update", false, "write the golden files anew")

var noon = time.Date(2027, 7, 9, 12, 0, 0, 0, time.UTC)

func number(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

// cut is a plain picture over two days, ten minutes apart from the edges.
func cut(samples ...farm.Sample) chart.Chart {
	return chart.Chart{
		Label: "Temperature", Height: 100, From: noon.Add(-48 * time.Hour), To: noon.Add(12 * time.Hour), Now: noon, Step: 30 * time.Minute,
		Bands: farm.Bands{Thrive: farm.Band{Low: 15, High: 25}, Survive: farm.Band{Low: 4, High: 32}}, Samples: samples,
		Whole: true, Unit: farm.Temperature.Row().Metric,
	}
}

func sample(at time.Time, v float64) farm.Sample {
	return farm.Sample{At: at, Min: v - 0.5, Mean: v, Max: v + 0.5, N: 3}
}

// wellFormed parses markup as XML and gives every element's attributes.
func wellFormed(t *testing.T, svg string) []xml.StartElement {
	t.Helper()
	var out []xml.StartElement
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return out
		}
		if err != nil {
			t.Fatalf("the picture is no XML: %v\n%s", err, svg)
		}
		if e, ok := tok.(xml.StartElement); ok {
			out = append(out, e.Copy())
		}
	}
}

func attr(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// A layer is one stretch of ground as a picture has it.
type layer struct {
	kind        string
	top, height float64
}

// ground reads the layers back, from the top down.
func ground(t *testing.T, svg string) (out []layer) {
	t.Helper()
	for _, e := range wellFormed(t, svg) {
		kind, ok := strings.CutPrefix(attr(e, "fill"), "url(#g-")
		if !ok {
			continue
		}
		for _, m := range regexp.MustCompile(`M0 ([\d.]+)h9999v([\d.]+)H0z`).FindAllStringSubmatch(attr(e, "d"), -1) {
			top, _ := strconv.ParseFloat(m[1], 64)
			height, _ := strconv.ParseFloat(m[2], 64)
			out = append(out, layer{strings.TrimSuffix(kind, ")"), top, height})
		}
	}
	slices.SortFunc(out, func(a, b layer) int { return cmp.Compare(a.top, b.top) })
	return out
}

func TestLayersAreToScale(t *testing.T) {
	got := ground(t, string(cut().SVG()))
	want := []layer{{kind: "harm"}, {kind: "bear"}, {kind: "thrive"}, {kind: "bear"}, {kind: "harm"}}
	if d := gocmp.Diff(want, got, gocmp.AllowUnexported(layer{}), cmpopts.IgnoreFields(layer{}, "top", "height")); d != "" {
		t.Fatalf("layers (-want +got):\n%s", d)
	}
	perKelvin := got[2].height / (25 - 15)
	for i, kelvin := range map[int]float64{1: 32 - 25, 3: 15 - 4} {
		if high := got[i].height / perKelvin; math.Abs(high-kelvin) > 0.1 {
			t.Errorf("layer %d is as high as %.2f K, want %.0f", i, high, kelvin)
		}
	}
	for i, l := range got[1:] {
		if above := got[i]; math.Abs(above.top+above.height-l.top) > 0.15 {
			t.Errorf("layer %d begins at %.1f px, the one above ends at %.1f", i+1, l.top, above.top+above.height)
		}
	}
	if last := got[4]; got[0].top != 0 || math.Abs(last.top+last.height-100) > 0.15 {
		t.Errorf("the ground reaches from %.1f to %.1f px, want 0 to 100", got[0].top, last.top+last.height)
	}
}

// points reads the curve's corners back, as the reader's script does.
func points(t *testing.T, svg string) (out [][2]float64, moves int) {
	t.Helper()
	for _, e := range wellFormed(t, svg) {
		if attr(e, "class") != "run" {
			continue
		}
		x, y := 0.0, 0.0
		for _, m := range regexp.MustCompile(`([Ml])(-?\d+) ?(-?\d+)`).FindAllStringSubmatch(attr(e, "d"), -1) {
			a, _ := strconv.ParseFloat(m[2], 64)
			b, _ := strconv.ParseFloat(m[3], 64)
			if m[1] == "M" {
				x, y = a, b
				moves++
			} else {
				x, y = x+a, y+b
			}
			out = append(out, [2]float64{x, y})
		}
	}
	return out, moves
}

// TestCurveCanBeReadBack holds the path to the numbers it was made of, through
// the very attributes the script uses.
func TestCurveCanBeReadBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 96).Draw(rt, "n")
		var in []farm.Sample
		for i := range n {
			at := noon.Add(-time.Duration(n-i) * 30 * time.Minute)
			in = append(in, sample(at, rapid.Float64Range(-20, 60).Draw(rt, "v")))
		}
		c := cut(in...)
		c.Height = rapid.SampledFrom([]int{100, 200}).Draw(rt, "height")
		svg := string(c.SVG())
		root := wellFormed(t, svg)[0]
		var from, to int64
		var low, high float64
		if _, err := fmt.Sscan(attr(root, "data-axes"), &from, &to, &low, &high); err != nil || from != c.From.Unix() || to != c.To.Unix() {
			rt.Fatalf("axes %q: %v", attr(root, "data-axes"), err)
		}
		got, moves := points(t, svg)
		if moves != 1 {
			rt.Fatalf("%d pieces, want one", moves)
		}
		steps := map[int]float64{100: 200, 200: 800}[c.Height] // of the frame, from top to bottom
		tolerance := (high-low)/steps*1.6 + 0.11               // one step thinned, half of one rounded, and the tenth the ends are rounded to
		for i, a := range in {
			x := float64(a.At.Add(15*time.Minute).Sub(c.From)) / float64(c.To.Sub(c.From)) * 1000
			if v := high - at(got, math.Round(x))/steps*(high-low); math.Abs(v-a.Mean) > tolerance {
				rt.Fatalf("sample %d reads %.3f, want %.3f within %.3f", i, v, a.Mean, tolerance)
			}
		}
	})
}

// at is the height of a curve at x, between two corners where it must be.
func at(curve [][2]float64, x float64) float64 {
	for i, p := range curve {
		if p[0] >= x {
			if i == 0 || p[0] == x {
				return p[1]
			}
			q := curve[i-1]
			return q[1] + (x-q[0])/(p[0]-q[0])*(p[1]-q[1])
		}
	}
	return math.NaN()
}

// TestStraightCurvesAreLight: what the eye cannot tell from a line is one.
func TestStraightCurvesAreLight(t *testing.T) {
	var in []farm.Sample
	for i := range 96 {
		in = append(in, sample(noon.Add(-time.Duration(96-i)*30*time.Minute), 20+float64(i)/96+0.02*float64(i%2)))
	}
	if got, _ := points(t, string(cut(in...).SVG())); len(got) > 12 {
		t.Errorf("a straight curve has %d corners", len(got))
	}
}

func TestGapsStayGaps(t *testing.T) {
	at := func(h float64, v float64) farm.Sample {
		return sample(noon.Add(time.Duration(h*float64(time.Hour))), v)
	}
	svg := string(cut(at(-10, 20), at(-9.5, 20), at(-5, 21), at(-4.5, 21)).SVG())
	if _, moves := points(t, svg); moves != 2 {
		t.Errorf("%d pieces, want 2: nothing was heard for four hours", moves)
	}
}

func TestCurveEndsAtTheLevel(t *testing.T) {
	c := cut(sample(noon.Add(-time.Hour), 20), sample(noon.Add(-30*time.Minute), 18))
	c.Level, c.HasLevel, c.Fresh = 24, true, true
	if got, _ := points(t, string(c.SVG())); len(got) != 3 || got[2][0] != 800 {
		t.Errorf("corners %v, want a third at now", got)
	}
	c.Fresh = false
	if got, _ := points(t, string(c.SVG())); len(got) != 2 {
		t.Errorf("an old level is joined to the curve: %v", got)
	}
	c.Fresh, c.Step = true, 24*time.Hour
	if got, _ := points(t, string(c.SVG())); len(got) != 2 {
		t.Errorf("a level is joined to daily means: %v", got)
	}
}

func TestNamesAreText(t *testing.T) {
	evil := `"><script>alert(1)</script>`
	c := cut()
	c.Label, c.Unit.Word = evil, evil
	c.Marks = []chart.Mark{{At: noon, What: evil, Title: evil}}
	c.Spells = []chart.Spell{{From: noon, To: noon, Title: evil}}
	r := chart.Reach{Label: evil, Rows: []chart.ReachRow{{Name: evil, Bands: c.Bands}}, Number: func(float64) string { return evil }}
	for _, svg := range []string{string(c.SVG()), string(r.SVG())} {
		if strings.Contains(svg, "<script") {
			t.Errorf("a name became markup:\n%s", svg)
		}
		wellFormed(t, svg)
	}
}

// TestNothingIsTooStrange draws whatever comes: the picture stays XML, of
// bounded size, with no number that is none.
func TestNothingIsTooStrange(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		v := func(name string) float64 { return rapid.Float64Range(-1e6, 1e6).Draw(rt, name) }
		when := func(name string) time.Time {
			return noon.Add(time.Duration(rapid.Int64Range(-int64(20*365*24*time.Hour), int64(20*365*24*time.Hour)).Draw(rt, name)))
		}
		c := cut(sample(when("s1"), v("v1")), sample(when("s2"), v("v2")))
		c.Bands = farm.Bands{Thrive: farm.Band{Low: v("tl"), High: v("th")}, Survive: farm.Band{Low: v("sl"), High: v("sh")}}
		c.Level, c.HasLevel, c.Spread = v("level"), rapid.Bool().Draw(rt, "has"), rapid.Bool().Draw(rt, "spread")
		c.Cone = &chart.Cone{Limit: v("limit"), Crosses: when("c"), Earliest: when("e"), Latest: when("l")}
		c.Marks, c.Spells = []chart.Mark{{At: when("m")}}, []chart.Spell{{From: when("f"), To: when("t")}}
		svg := string(c.SVG())
		wellFormed(t, svg)
		if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") || len(svg) > 20_000 {
			rt.Fatalf("strange picture of %d bytes: %s", len(svg), svg)
		}
	})
}

func TestLimitsOnEachOtherAreToldOnce(t *testing.T) {
	c := cut()
	c.Bands.Survive.High = 25.2
	svg := string(c.SVG())
	if strings.Contains(svg, ">25.2<") || !strings.Contains(svg, ">25<") {
		t.Errorf("two numbers stand on each other, or none is left:\n%s", svg)
	}
}

// TestDaysFollowTheClock: the day lines are local midnights, across the night
// in which clocks go forward (the last Sunday of March, Directive 2000/84/EC).
func TestDaysFollowTheClock(t *testing.T) {
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	c := cut()
	c.Dates.Location = london
	c.From = time.Date(2027, 3, 27, 12, 0, 0, 0, london) // clocks change on the 28th
	c.To = time.Date(2027, 3, 29, 12, 0, 0, 0, london)
	c.Now = c.To
	var at []string
	for _, e := range wellFormed(t, string(c.SVG())) {
		if e.Name.Local == "text" && attr(e, "class") == "day" {
			at = append(at, attr(e, "x"))
		}
	}
	// 47 hours wide: midnights 12 h and 35 h after the left edge.
	want := []string{fmt.Sprintf("%.1f%%", 12.0/47*100), fmt.Sprintf("%.1f%%", 35.0/47*100)}
	if d := gocmp.Diff(want, at); d != "" {
		t.Errorf("midnights (-want +got):\n%s", d)
	}
}

func TestGolden(t *testing.T) {
	c := cut(sample(noon.Add(-2*time.Hour), 24), sample(noon.Add(-90*time.Minute), 25), sample(noon.Add(-time.Hour), 26.5), sample(noon.Add(-30*time.Minute), 28))
	c.Level, c.HasLevel, c.Fresh, c.Spread, c.Focus = 29.4, true, true, true, true
	c.Cone = &chart.Cone{Limit: 32, Crosses: noon.Add(3 * time.Hour), Earliest: noon.Add(2 * time.Hour)}
	c.Marks = []chart.Mark{{At: noon.Add(-20 * time.Hour), What: "fed", Title: "fed about 2 kg of grain"}}
	c.Spells = []chart.Spell{{From: noon.Add(-time.Hour), To: noon, Urgency: farm.Today, Title: "heating up"}}
	r := chart.Reach{Label: "What they bear", Number: number, Level: 29.4, HasLevel: true, Rows: []chart.ReachRow{{Name: "Red worms", Bands: c.Bands}}}
	for name, svg := range map[string]string{"cut.svg": string(c.SVG()), "reach.svg": string(r.SVG())} {
		path := filepath.Join("testdata", name)
		got := strings.ReplaceAll(svg, "><", ">\n<") + "\n"
		if *update {
			if err := os.MkdirAll("testdata", 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if d := gocmp.Diff(string(want), got); d != "" {
			t.Errorf("%s (-want +got):\n%s", name, d)
		}
	}
}

func BenchmarkCut(b *testing.B) {
	var in []farm.Sample
	for i := range 96 {
		in = append(in, sample(noon.Add(-time.Duration(96-i)*30*time.Minute), 20+5*math.Sin(float64(i)/8)))
	}
	c := cut(in...)
	c.Level, c.HasLevel, c.Fresh = 21, true, true
	for b.Loop() {
		c.SVG()
	}
	b.ReportMetric(float64(len(c.SVG())), "B/picture")
}
