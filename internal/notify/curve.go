package notify

import (
	"bytes"
	"fmt"
	"image/color"
	"math"
	"time"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"

	"binwatchd/internal/farm"
)

// A curve is one quantity of one zone over the last days: the level with what
// it swung between, the band in which it does well, the limits past which
// there is harm, what is foreseen, and what the keeper did. Its paper is the
// same in light and dark mails, since few clients can choose between pictures.
type curve struct {
	title    string
	unit     string                // written after a figure: " °C", " %"
	shown    func(float64) float64 // from the inner unit to the one people read
	samples  []farm.Sample
	step     time.Duration
	last     float64 // the level now
	bands    farm.Bands
	limit    float64 // that the forecast crosses; NaN: no forecast
	forecast farm.Forecast
	jots     []farm.Jot
	from     time.Time
	to       time.Time
	now      time.Time
	loc      *time.Location
	width    vg.Length // points; the picture has two pixels to a point
	height   vg.Length
}

// dpi makes two pixels of a point, and a mail shows a point as one CSS pixel: a
// phone's display is twice as fine as that, or finer.
const dpi = 144

// Colours of a picture: paper, ink, and three that stay apart for the
// colour-blind. Nothing is said by colour alone.
var (
	paper  = color.NRGBA{0xfb, 0xf8, 0xf2, 0xff}
	ink    = color.NRGBA{0x3a, 0x33, 0x2b, 0xff}
	faint  = color.NRGBA{0x7d, 0x72, 0x64, 0xff}
	ruled  = color.NRGBA{0xe4, 0xdd, 0xd0, 0xff}
	meadow = color.NRGBA{0xcf, 0xe0, 0xbd, 0xff}
	brick  = color.NRGBA{0xa8, 0x3f, 0x24, 0xff}
	ochre  = color.NRGBA{0xd9, 0x93, 0x2f, 0x66}
	swing  = color.NRGBA{0x5a, 0x48, 0x38, 0x38}
	jotInk = color.NRGBA{0x2c, 0x61, 0x86, 0xff}
)

// png draws the curve.
func (c curve) png() ([]byte, error) {
	if len(c.samples) == 0 {
		return nil, fmt.Errorf("draw %s: no samples", c.title)
	}
	img := vgimg.NewWith(vgimg.UseWH(c.width, c.height), vgimg.UseDPI(dpi), vgimg.UseBackgroundColor(paper))
	g := c.frame(draw.Crop(draw.New(img), vg.Points(8), -vg.Points(12), vg.Points(6), -vg.Points(6)))
	for _, layer := range []func(ground){c.band, c.grid, c.swung, c.cone, c.jotted, c.level, c.nowLine} {
		layer(g)
	}
	var b bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: img}).WriteTo(&b); err != nil {
		return nil, fmt.Errorf("draw %s: %w", c.title, err)
	}
	return b.Bytes(), nil
}

// at puts a time on the axis.
func at(t time.Time) float64 { return float64(t.Unix()) }

// reach is the range of the upright axis: the data, the forecast's limit, and
// every limit that is near enough to matter.
func (c curve) reach() (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, s := range c.samples {
		low, high = min(low, c.shown(s.Min)), max(high, c.shown(s.Max))
	}
	if !math.IsNaN(c.limit) {
		low, high = min(low, c.shown(c.limit)), max(high, c.shown(c.limit))
	}
	near := max(0.6*(high-low), 4)
	from, to := low-near, high+near
	for _, edge := range c.edges() {
		if v := c.shown(edge); v >= from && v <= to {
			low, high = min(low, v), max(high, v)
		}
	}
	pad := max(0.08*(high-low), 0.5)
	return low - pad, high + pad
}

func (c curve) edges() []float64 {
	if c.bands.IsZero() {
		return nil
	}
	return []float64{c.bands.Thrive.Low, c.bands.Thrive.High, c.bands.Survive.Low, c.bands.Survive.High}
}
