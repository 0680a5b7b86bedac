package chart_test

import (
	"bytes"
	"image/color"
	"image/png"
	"slices"
	"testing"
	"time"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
)

// The figures of an upright axis, worked out by hand.
func TestLevels(t *testing.T) {
	for _, tt := range []struct {
		low, high float64
		want      []string
	}{
		{-0.9, 8, []string{"0", "2", "4", "6", "8 °C"}},
		{-2.2, 0.4, []string{"-2", "-1", "0 °C"}},
		{18.3, 19.4, []string{"18.5", "19 °C"}},
		{12, 71, []string{"20", "40", "60 °C"}},
	} {
		if got := chart.Levels(tt.low, tt.high, farm.Temperature.Row().Metric); !slices.Equal(got, tt.want) {
			t.Errorf("from %g to %g: got %q, want %q", tt.low, tt.high, got, tt.want)
		}
	}
	// What people read is round, not what it is inside: 15 to 25 °C are 59 to 77 °F.
	if got, want := chart.Levels(59, 77, farm.Temperature.Row().US), []string{"60", "65", "70", "75 °F"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// Warmer is higher up and later is farther right: a bin that was cool for three
// days and then warm for one is drawn so. (Upside down and backwards at once it
// would have been cool for one day and warm for three.)
func TestPictureIsTheRightWayRound(t *testing.T) {
	temperatures := slices.Concat(slices.Repeat([]float64{10}, 72), slices.Repeat([]float64{30}, 24))
	c := chart.Chart{From: noon.Add(-96 * time.Hour), To: noon, Now: noon, Step: time.Hour, Unit: farm.Temperature.Row().Metric, Width: 300, Height: 150}
	for i, v := range temperatures {
		c.Samples = append(c.Samples, sample(c.From.Add(time.Duration(i)*time.Hour), v))
	}
	content, err := c.PNG()
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(content))
	if err != nil {
		t.Fatal(err)
	}
	ink := color.NRGBA{0x3a, 0x33, 0x2b, 0xff}
	size := img.Bounds().Size()
	for _, tt := range []struct {
		across    int // percent of the picture
		low, high bool
	}{{20, true, false}, {40, true, false}, {60, true, false}, {85, false, true}} {
		low, high := false, false
		for y := range size.Y {
			if color.NRGBAModel.Convert(img.At(tt.across*size.X/100, y)) == ink {
				low, high = low || y > size.Y/2, high || y <= size.Y/2
			}
		}
		if low != tt.low || high != tt.high {
			t.Errorf("%d %% across: the level is drawn low %t, high %t; want %t, %t", tt.across, low, high, tt.low, tt.high)
		}
	}
}
