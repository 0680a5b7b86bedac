package demo_test

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/demo"

	"binwatchd/internal/efforttest"
)

// within fails unless lowest and highest of what was said lie in their ranges.
func within(t *testing.T, what string, v []float64, lowest, highest [2]float64) {
	t.Helper()
	if len(v) == 0 {
		t.Errorf("%s: nothing was said", what)
		return
	}
	low, high := slices.Min(v), slices.Max(v)
	if low < lowest[0] || low > lowest[1] {
		t.Errorf("%s: lowest is %.1f, want %.1f to %.1f", what, low, lowest[0], lowest[1])
	}
	if high < highest[0] || high > highest[1] {
		t.Errorf("%s: highest is %.1f, want %.1f to %.1f", what, high, highest[0], highest[1])
	}
}

// The beats of the story happen whatever the seed (tried with the first forty).
// Days count from the midnight before the start.
func TestStory(t *testing.T) {
	efforttest.Long(t)
	for seed := range uint64(3) {
		t.Run(fmt.Sprint("seed ", seed), func(t *testing.T) {
			h := listen(t, seed, 38)
			bed := celsius(h.between("glass/bed/temp_f", 1.4, 6))
			within(t, "bed after the light feed", bed, [2]float64{16, 22}, [2]float64{25, 31.9})
			bed = celsius(h.between("glass/bed/temp_f", 29.4, 30.2))
			within(t, "bed at the heavy feed", bed, [2]float64{14, 22}, [2]float64{17, 28})
			bed = celsius(h.between("glass/bed/temp_f", 30.2, 34))
			within(t, "bed going hot", bed, [2]float64{15, 30}, [2]float64{33, 42})

			within(t, "yard in the cold snap", h.between("yard/air", 7, 10), [2]float64{-9, 3}, [2]float64{5, 20})
			within(t, "trough in the cold snap", h.between("yard/trough/trough/celsius", 6.5, 11), [2]float64{0, 5}, [2]float64{10, 21})
			within(t, "cabinet without power", h.between("prop/cabinet/temp", 8.9, 11), [2]float64{7, 15.9}, [2]float64{20, 27})
			within(t, "glasshouse in the heat wave", h.between("glass/air/temperature", 17.5, 21.5), [2]float64{18, 26}, [2]float64{35, 45})
			bed = celsius(h.between("glass/bed/temp_f", 17.5, 22))
			within(t, "bed in the heat wave", bed, [2]float64{15, 24}, [2]float64{25.2, 31.5})

			within(t, "far end after sifting", h.between("glass/far/moisture", 2, 8), [2]float64{52, 62}, [2]float64{58, 67})
			within(t, "far end before the second sifting", h.between("glass/far/moisture", 28, 29.3), [2]float64{36, 47}, [2]float64{38, 49})
			if n := h.inWindow(24, 33); n < 144 {
				t.Errorf("%d readings in the sifting window by the end of thirty days, want a day's worth or more", n)
			}
			within(t, "crate's battery", h.between("store/crate/battery", 25.5, 31), [2]float64{3.1, 3.3}, [2]float64{3.1, 3.3})
			within(t, "crate's new battery", h.between("store/crate/battery", 37, 38), [2]float64{3.8, 3.95}, [2]float64{3.8, 3.95})
		})
	}
}

// inWindow counts readings of the far end within the sifting window of 35 to
// 45 %, from one day of the story to another.
func (h heard) inWindow(from, to float64) (n int) {
	for _, v := range h.between("glass/far/moisture", from, to) {
		if v >= 35 && v <= 45 {
			n++
		}
	}
	return n
}

// Whatever is said is possible, through three cycles of the story.
func TestEverythingSaidIsPlausible(t *testing.T) {
	efforttest.Long(t)
	ranges := map[string][2]float64{
		"glass/bed/temp_f": {40, 115}, "glass/bed/soil": {1400, 2900}, "glass/bed/second": {-127, 85},
		"glass/far/temperature": {0, 40}, "glass/far/moisture": {25, 75}, "glass/air/temperature": {0, 50},
		"shed/air/celsius": {-5, 40}, "shed/node/battery": {0, 100},
		"shed/tray/1/t": {-2, 40}, "shed/tray/2/t": {-2, 40}, "shed/tray/3/t": {-2, 40},
		"shed/tray/1/m": {0.6, 0.9}, "shed/tray/2/m": {0.6, 0.9}, "shed/tray/3/m": {0.6, 0.9},
		"prop/air": {0, 40}, "prop/cabinet/temp": {5, 34}, "prop/cabinet/moisture": {65, 90},
		"yard/air": {-12, 42}, "yard/trough/trough/celsius": {-3, 36}, "yard/trough/trough/percent": {65, 88},
		"store/air": {0, 35}, "store/crate/t": {0, 35}, "store/crate/m": {30, 60}, "store/crate/battery": {3, 4},
		"store/barrel/t": {0, 35}, "store/barrel/m": {30, 60},
	}
	h := listen(t, 99, 95)
	for where, r := range ranges {
		if len(h.numbers[where]) == 0 {
			t.Errorf("%s was never heard", where)
		}
		for _, s := range h.numbers[where] {
			if !(s.v >= r[0] && s.v <= r[1]) {
				t.Errorf("%s said %g at %s, want %v", where, s.v, s.at, r)
				break
			}
		}
	}
	for where := range h.numbers {
		if _, known := ranges[where]; !known && where != "prop/cabinet/ts" {
			t.Errorf("nobody expects %s", where)
		}
	}
}

// What is foretold for the yard is nearly what the yard's air then is.
func TestTheWeatherIsForetold(t *testing.T) {
	air := map[time.Time]float64{} // by the hour
	var off []float64
	var said []demo.Message
	demo.New(1, start).Until(start.Add(12*day), func(m demo.Message) {
		switch m.Topic {
		case "yard/air":
			v, _ := strconv.ParseFloat(string(m.Payload), 64)
			air[m.At.Truncate(time.Hour)] = v
		case "weather/hours":
			said = append(said, m)
		}
	})
	for _, m := range said {
		var hours [][2]any
		if err := json.Unmarshal(m.Payload, &hours); err != nil || len(hours) != 36 {
			t.Fatalf("%s: %v, want 36 hours", m.Payload, err)
		}
		for _, h := range hours {
			at, err := time.Parse(time.RFC3339, h[0].(string))
			if err != nil {
				t.Fatal(err)
			}
			if v, ok := air[at]; ok {
				off = append(off, math.Abs(v-h[1].(float64)))
			}
		}
	}
	slices.Sort(off)
	if len(said) < 90 || len(off) < 2000 || off[len(off)/2] > 1.5 || off[len(off)/2] == 0 {
		t.Fatalf("%d forecasts with %d hours that came, want some 95, off by 1.5 K at most in the middle", len(said), len(off))
	}
}

func TestFlakyProbe(t *testing.T) {
	lot := listen(t, 3, 30).numbers["glass/bed/second"]
	var powerOn, lost, spikes, longest int
	last := lot[0]
	for _, s := range lot[1:] {
		switch gap := int(s.at.Sub(last.at) / (10 * time.Minute)); {
		case s.v == 85:
			powerOn++
		case s.v == -127:
			lost++
		case last.v < 60 && last.v > 0 && s.v-last.v > 9:
			spikes++
		default:
			longest = max(longest, gap)
		}
		last = s
	}
	for what, n := range map[string]int{"85.0": powerOn, "-127": lost, "spikes": spikes} {
		if n < 5 || n > 200 {
			t.Errorf("%s: got %d in thirty days", what, n)
		}
	}
	if longest < 12 || longest > 80 {
		t.Errorf("longest time without a word: got %d turns, want two hours to half a day", longest)
	}
	if most := 30 * 144; len(lot) < most*3/4 {
		t.Errorf("spoke %d times, want most of %d", len(lot), most)
	}
}

// The keeper's lines say what the rules know, and the watered amounts show up
// in the bins.
func TestJots(t *testing.T) {
	h := listen(t, 2, 40)
	kinds := map[string]int{}
	for _, m := range h.jots {
		var j struct {
			What, Amount, Of, To string
			At                   time.Time
		}
		if err := json.Unmarshal(m.Payload, &j); err != nil {
			t.Fatalf("%s: %v", m.Payload, err)
		}
		kinds[j.What]++
		amount, unit, _ := strings.Cut(j.Amount, " ")
		want := map[string]string{"watered": "L", "sifted": "L", "fed": "kg", "bedded": "kg"}[j.What]
		if unit != want || amount == "" {
			t.Errorf("%s %s: amount %q", m.Topic, j.What, j.Amount)
		}
		if late := m.At.Sub(j.At); !j.At.IsZero() && (late < 0 || late > 10*time.Minute) {
			t.Errorf("%s: sent %s after it was done", m.Payload, late)
		}
		if (j.What == "sifted") != (j.To != "") || (j.What == "fed") != (j.Of != "") {
			t.Errorf("%s: of or to", m.Payload)
		}
	}
	for _, what := range []string{"fed", "watered", "bedded", "sifted"} {
		if kinds[what] == 0 {
			t.Errorf("nothing was %s in forty days", what)
		}
	}
}

func TestTubsAreEmptiedWhenFull(t *testing.T) {
	efforttest.Long(t)
	emptied := 0
	demo.New(1, start).Until(start.Add(400*day), func(m demo.Message) {
		if strings.Contains(string(m.Payload), `"emptied"`) {
			emptied++
		}
	})
	if emptied == 0 || emptied > 4 {
		t.Errorf("tubs were emptied %d times in thirteen months", emptied)
	}
}
