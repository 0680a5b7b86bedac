package demo_test

import (
	"bytes"
	"flag"
	"image"
	"image/color"
	"image/color/palette"
	imagedraw "image/draw"
	"image/png"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"

	"binwatchd/internal/chart"
	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

var update = flag.Bool("update", false, "draw the picture of the documentation anew")

const (
	picture     = "../../docs/expect.png"
	pictureFrom = 26.0 // day of the story, of which the picture's first is day 0
	pictureTo   = 36.0
	dpi         = 100
)

var (
	bedColour   = color.RGBA{0xb3, 0x40, 0x18, 0xff}
	roomColour  = color.RGBA{0x90, 0x90, 0x90, 0xff}
	waterColour = color.RGBA{0x1f, 0x5f, 0x99, 0xff}
	careColour  = color.RGBA{0x5c, 0x7a, 0x29, 0xff}
)

// The picture in the documentation is of what the demo's bed says while a feed
// heats it, smoothed as the shipped rules do.
func TestPictureIsOfTheDemo(t *testing.T) {
	efforttest.Long(t)
	now := drawExpect(t, listen(t, 1, pictureTo+1))
	if *update {
		if err := os.WriteFile(picture, now, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	there, err := os.ReadFile(picture)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(there, now) {
		t.Errorf("%s is not what the demo says; look at it after go test ./internal/demo -run Picture -update", picture)
	}
	if len(there) > 60_000 {
		t.Errorf("the picture has %d bytes", len(there))
	}
}

// What the dashboards show of a zone is drawn from the same days: each level between its
// bands, and what was done.
func TestPictureOfTheDashboards(t *testing.T) {
	efforttest.Long(t)
	h, path := listen(t, 1, pictureTo+1), "../../docs/dashboard.png"
	f := farm.Farm{Species: husbandry.Species()}
	bed := farm.Bin{Name: "bed", Species: []farm.Share{{Species: "red", Fraction: 0.7}, {Species: "blue", Fraction: 0.3}}, // as hillfoot.yaml.tmpl has it
		Zones: []farm.Zone{{Name: "near", Aim: farm.Living}}}
	temp, moist := husbandry.ShownBands(&f, bed, bed.Zones[0])
	if temp.IsZero() || moist.IsZero() {
		t.Fatal("the bed has no bands")
	}
	zone := image.NewPaletted(image.Rect(0, 0, 1400, 2*440), palette.Plan9)
	for i, c := range []chart.Chart{
		level("Bed, near: temperature between its bands", farm.Temperature, temp, smooth(h.numbers["glass/bed/temp_f"], time.Hour, func(f float64) float64 { return (f - 32) / 1.8 })),
		level("Bed, near: moisture between its bands", farm.Moisture, moist, smooth(h.numbers["glass/bed/soil"], 6*time.Hour, func(raw float64) float64 { return 12 + (raw-2850)*72/(1420-2850) })),
	} {
		for _, j := range h.jots {
			for _, what := range []farm.JotKind{farm.Fed, farm.Watered} {
				if strings.HasSuffix(j.Topic, "/bed/near") && strings.Contains(string(j.Payload), `"`+string(what)+`"`) && j.At.After(c.From) && j.At.Before(c.To) {
					c.Marks = append(c.Marks, chart.Mark{At: j.At, What: string(what)})
				}
			}
		}
		one, err := c.PNG()
		if err != nil {
			t.Fatal(err)
		}
		drawn, err := png.Decode(bytes.NewReader(one))
		if err != nil {
			t.Fatal(err)
		}
		imagedraw.Draw(zone, image.Rect(0, i*440, 1400, (i+1)*440), drawn, image.Point{}, imagedraw.Src)
	}
	var now bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&now, zone); err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile(path, now.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if there, err := os.ReadFile(path); err != nil || !bytes.Equal(there, now.Bytes()) || len(there) > 80_000 {
		t.Errorf("%s is not what the demo says, or has more than 80 kB (%d bytes, %v); look at it after go test ./internal/demo -run Picture -update", path, len(there), err)
	}
}

// level is the chart of one quantity over the days of the picture.
func level(title string, q farm.Quantity, bands farm.Bands, xy plotter.XYs) chart.Chart {
	from := day1.Add(time.Duration(pictureFrom * float64(day)))
	c := chart.Chart{Title: title, Unit: q.Row().Metric, Width: 700, Height: 220, From: from, To: from.Add(10 * day), Now: from.Add(10 * day), Bands: bands, Whole: true, Step: 30 * time.Minute, Fresh: true, HasLevel: true}
	for _, p := range xy {
		at := from.Add(time.Duration(p.X * float64(day)))
		c.Samples = append(c.Samples, farm.Sample{At: at, Min: p.Y, Mean: p.Y, Max: p.Y, N: 1})
		c.Level = p.Y
	}
	return c
}

// drawExpect is a PNG of 1000 by 500 pixels: temperature above, moisture below.
func drawExpect(t *testing.T, h heard) []byte {
	t.Helper()
	warm := curves(t, h, "°C, mean of 1 h", 10, 40)
	room := line(t, warm, smooth(h.numbers["glass/air/temperature"], time.Hour, func(v float64) float64 { return v }), roomColour)
	bed := line(t, warm, smooth(h.numbers["glass/bed/temp_f"], time.Hour, func(f float64) float64 { return (f - 32) / 1.8 }), bedColour)
	warm.Legend.Add("bed, near end", bed)
	warm.Legend.Add("glasshouse", room)
	damp := curves(t, h, "% water, mean of 6 h", 70, 80)
	water := line(t, damp, smooth(h.numbers["glass/bed/soil"], 6*time.Hour, func(raw float64) float64 { return 12 + (raw-2850)*72/(1420-2850) }), waterColour)
	damp.Legend.Add("bed, near end", water)
	damp.X.Label.Text = "days"

	c := vgimg.NewWith(vgimg.UseWH(10*vg.Inch, 5*vg.Inch), vgimg.UseDPI(dpi))
	all := draw.Crop(draw.New(c), 8, -12, 4, -8)
	for i, row := range plot.Align([][]*plot.Plot{{warm}, {damp}}, draw.Tiles{Rows: 2, Cols: 1, PadY: 6}, all) {
		[]*plot.Plot{warm, damp}[i].Draw(row[0])
	}
	few := image.NewPaletted(c.Image().Bounds(), palette.Plan9) // a third of the bytes
	imagedraw.Draw(few, few.Bounds(), c.Image(), image.Point{}, imagedraw.Src)
	var b bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&b, few); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// curves is an empty plot with the keeper's work as upright lines.
func curves(t *testing.T, h heard, label string, low, high float64) *plot.Plot {
	t.Helper()
	p := plot.New()
	p.Y.Label.Text = label
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 0, pictureTo-pictureFrom, low, high // which only grow as lines are added
	p.Legend.Top = true
	p.Add(plotter.NewGrid())
	text := map[float64][]string{}
	for _, j := range h.jots {
		d := j.At.Sub(day1).Hours()/24 - pictureFrom
		if !strings.HasSuffix(j.Topic, "/bed/near") || d < 0 || d > p.X.Max {
			continue
		}
		at := float64(int(d*24)) / 24
		for _, what := range []string{"fed", "watered", "bedded"} {
			if strings.Contains(string(j.Payload), `"`+what+`"`) {
				text[at] = append(text[at], what)
			}
		}
	}
	for _, at := range slices.Sorted(maps.Keys(text)) {
		l := line(t, p, plotter.XYs{{X: at, Y: low}, {X: at, Y: high}}, careColour)
		l.Dashes = []vg.Length{3, 3}
		says, err := plotter.NewLabels(plotter.XYLabels{XYs: plotter.XYs{{X: at + 0.1, Y: low + (high-low)*0.04}}, Labels: []string{strings.Join(text[at], ", ")}})
		if err != nil {
			t.Fatal(err)
		}
		says.TextStyle[0].Color = careColour
		p.Add(says)
	}
	return p
}

func line(t *testing.T, p *plot.Plot, xy plotter.XYs, c color.Color) *plotter.Line {
	t.Helper()
	l, err := plotter.NewLine(xy)
	if err != nil {
		t.Fatal(err)
	}
	l.Color, l.Width = c, 1.5
	p.Add(l)
	return l
}

// smooth gives the mean of the window before each half hour of the picture.
func smooth(all []said, window time.Duration, unit func(float64) float64) plotter.XYs {
	var out plotter.XYs
	from := day1.Add(time.Duration(pictureFrom * float64(day)))
	for at := from; at.Before(from.Add(time.Duration((pictureTo - pictureFrom) * float64(day)))); at = at.Add(30 * time.Minute) {
		sum, n := 0.0, 0
		for _, s := range all {
			if age := at.Sub(s.at); age >= 0 && age < window {
				sum, n = sum+unit(s.v), n+1
			}
		}
		if n > 0 {
			out = append(out, plotter.XY{X: at.Sub(from).Hours() / 24, Y: sum / float64(n)})
		}
	}
	return out
}
