package notify_test

import (
	"bytes"
	"image/color"
	"image/png"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
)

// A farm that reads US units gets no others.
func TestUSUnits(t *testing.T) {
	cfg := keeperOnly(t)
	cfg.Farm.Units = farm.US
	src := notify.Sources{History: hillfootPast(), Look: look(hillfootView())}
	told := map[string][]farm.Owed{heating().Episode: owedOf(cfg, heating())}
	for _, tt := range []struct {
		c    farm.Change
		told map[string][]farm.Owed
	}{{heating(), nil}, {tooDry(), nil}, {eased(heating(), start, 30.4), told}} {
		c := tt.c
		raw, err := notify.MailOf(cfg, src, owedOf(cfg, c), tt.told, start)
		if err != nil {
			t.Fatal(err)
		}
		o := open(t, raw)
		said := o.subject(t) + "\n" + o.text + o.html
		for _, foreign := range []string{"°C", "litre", " kg"} {
			if strings.Contains(said, foreign) {
				t.Errorf("%s of %s: %q in\n%s", c.Change, c.Condition, foreign, said)
			}
		}
	}
}

// Hours in which nothing was heard are left blank: no line bridges them.
func TestPictureHasNoLineOverAGap(t *testing.T) {
	cfg := keeperOnly(t)
	p := hillfootPast()
	p.jots = nil
	inked := func(gap [2]time.Time) int {
		p.gap = gap
		raw, err := notify.MailOf(cfg, notify.Sources{History: p, Look: look(hillfootView())}, owedOf(cfg, tooDry()), nil, start)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for _, content := range open(t, raw).pictures {
			img, err := png.Decode(bytes.NewReader(content))
			if err != nil {
				t.Fatal(err)
			}
			ink := color.NRGBA{0x3a, 0x33, 0x2b, 0xff}
			for x := 300; x < 450; x++ { // from a third to two thirds of the picture
				for y := 80; y < img.Bounds().Max.Y-60; y++ {
					if color.NRGBAModel.Convert(img.At(x, y)) == ink {
						n++
					}
				}
			}
		}
		return n
	}
	if n := inked([2]time.Time{}); n == 0 {
		t.Fatal("no line where there are readings")
	}
	if n := inked([2]time.Time{start.Add(-11 * 24 * time.Hour), start.Add(-3 * 24 * time.Hour)}); n != 0 {
		t.Errorf("%d pixels of the line in a gap of eight days", n)
	}
}
