package husbandry_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// mix is a bin of worms by mass: the word of a species, then its part.
func mix(pairs ...any) farm.Bin {
	b := farm.Bin{Name: "bed", Zones: []farm.Zone{{Name: "near", Aim: farm.Living}}}
	for i := 0; i < len(pairs); i += 2 {
		b.Species = append(b.Species, farm.Share{Species: pairs[i].(string), Fraction: pairs[i+1].(float64)})
	}
	return b
}

// told is what limits make of a level.
func told(s husbandry.Limits, v float64) string {
	switch {
	case v < s.Low.Harm:
		return "below: harm"
	case v > s.High.Harm:
		return "above: harm"
	case v < s.Low.Most:
		return "below: most"
	case v > s.High.Most:
		return "above: most"
	case v < s.Low.Half:
		return "below: half"
	case v > s.High.Half:
		return "above: half"
	}
	return "calm"
}

// Worked by hand from the species table, whose rows name their sources: thrive
// ends at 25 °C for red and European worms, 32 °C for blue, 30 °C for African;
// it begins at 15, 15, 21 and 22 °C. Survive is 4..32, 4..32, 9..34 and 16..33.
func TestTempLimitsGoByMass(t *testing.T) {
	f := &farm.Farm{Species: husbandry.Species()}
	for _, c := range []struct {
		bin   farm.Bin
		tempC float64
		want  string
	}{
		{mix("red", .6, "european", .35, "blue", .05), 31.5, "above: most"}, // 95 % are slowed
		{mix("red", .6, "european", .35, "blue", .05), 25, "calm"},
		{mix("red", .6, "european", .35, "blue", .05), 32.1, "above: harm"},
		{mix("red", .6, "european", .35, "blue", .05), 14.9, "below: most"},
		{mix("red", .6, "european", .35, "blue", .05), 8.9, "below: harm"}, // blue ones
		{mix("red", .75, "blue", .25), 25.1, "above: half"},                // exactly three quarters
		{mix("red", .7501, "blue", .2499), 25.1, "above: most"},
		{mix("red", .5, "blue", .5), 25.1, "calm"}, // exactly half
		{mix("red", .5001, "blue", .4999), 25.1, "above: half"},
		{mix("red", .5, "blue", .5), 20.9, "calm"},
		{mix("red", .4999, "blue", .5001), 20.9, "below: half"},
		{mix("red", .5, "blue", .5), 14.9, "below: most"},
		{mix("red", .25, "european", .25, "blue", .25, "african", .25), 31, "above: half"}, // african too: exactly three quarters
		{mix("red", .24, "european", .25, "blue", .24, "african", .27), 31, "above: most"},
		{bin("red", "european", "blue"), 31, "above: half"}, // not given: a third each
		{bin("red", "european", "blue"), 18, "calm"},
		{mix("red", 0., "blue", 0.), 25.1, "calm"}, // no part given: equal
		{mix("african", .05, "red", .95), 15.5, "below: harm"},
		{farm.Bin{}, 60, "calm"},
	} {
		t.Run(fmt.Sprint(c.bin.Species, c.tempC), func(t *testing.T) {
			if got := told(husbandry.WormLimits(husbandry.WormsOf(f, c.bin), farm.Temperature), c.tempC); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// Common practice, no source: a bin of red, European and blue worms in equal
// parts is well at 65 °F; African worms alone are content at 75 °F and unhappy
// in the low 60s.
func TestTempLimitsSayWhatKeepersSay(t *testing.T) {
	f := &farm.Farm{Species: husbandry.Species()}
	for _, c := range []struct {
		bin        farm.Bin
		fahrenheit float64
		want       string
	}{
		{bin("red", "european", "blue"), 65, "calm"},
		{bin("red", "european", "blue"), 88, "above: half"},
		{bin("red", "european", "blue"), 57, "below: most"},
		{bin("red", "european", "blue"), 45, "below: harm"},
		{bin("red", "european", "blue"), 92, "above: harm"},
		{bin("african"), 75, "calm"},
		{bin("african"), 62, "below: most"},
		{bin("african"), 87, "above: most"},
		{bin("red"), 80, "above: most"},
	} {
		t.Run(fmt.Sprint(c.bin.Species, c.fahrenheit), func(t *testing.T) {
			if got := told(husbandry.WormLimits(husbandry.WormsOf(f, c.bin), farm.Temperature), farm.CelsiusOf(c.fahrenheit)); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// Worked by hand from the species table: red worms thrive at 70..85 % in
// 60..90 %, blue ones at 75..83 % in 65..88 %.
func TestMoistLimitsGoByMass(t *testing.T) {
	f := &farm.Farm{Species: husbandry.Species()}
	for _, c := range []struct {
		bin  farm.Bin
		pct  float64
		want string
	}{
		{mix("red", .8, "blue", .2), 72, "calm"}, // a fifth of them have it too dry
		{mix("red", .8, "blue", .2), 69.9, "below: most"},
		{mix("red", .8, "blue", .2), 64.9, "below: harm"},
		{mix("red", .8, "blue", .2), 84, "calm"},
		{mix("red", .8, "blue", .2), 85.1, "above: most"},
		{mix("red", .8, "blue", .2), 88.1, "above: harm"},
		{mix("red", .25, "blue", .75), 74.9, "below: half"},
		{mix("red", .24, "blue", .76), 74.9, "below: most"},
		{mix("red", .5, "blue", .5), 74.9, "calm"},
		{mix("red", .5, "blue", .5), 83.1, "calm"},
		{mix("red", .49, "blue", .51), 83.1, "above: half"},
	} {
		t.Run(fmt.Sprint(c.bin.Species, c.pct), func(t *testing.T) {
			if got := told(husbandry.WormLimits(husbandry.WormsOf(f, c.bin), farm.Moisture), c.pct); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

func TestMoistureAimsAtWhatAllHaveInCommon(t *testing.T) {
	table := append(husbandry.Species(),
		farm.Species{ID: "fen", Moisture: farm.Bands{Thrive: band(50, 60), Survive: band(45, 80)}})
	f := &farm.Farm{Species: table}
	for _, c := range []struct {
		bin  farm.Bin
		want farm.Band
	}{
		{mix("red", 1.), band(70, 85)},
		{mix("red", .8, "blue", .2), band(75, 83)},
		{mix("blue", .2, "red", .8), band(75, 83)},
		{mix("fen", .3, "red", .7), band(70, 80)}, // fen worms are in danger over 80 %
		{mix("red", .5, "fen", .5), band(70, 80)}, // equal: the first named
		{mix("fen", .7, "red", .3), band(70, 80)}, // red ones die where the others thrive
	} {
		t.Run(fmt.Sprint(c.bin.Species), func(t *testing.T) {
			worms := husbandry.WormsOf(f, c.bin)
			got := husbandry.MoistureAim(worms)
			if got != c.want {
				t.Errorf("got %v, want %v", got, c.want)
			}
			if calm := told(husbandry.WormLimits(worms, farm.Moisture), got.Middle()); calm == "below: harm" || calm == "above: harm" {
				t.Errorf("the middle of %v is %s", got, calm)
			}
		})
	}
}

// Law: what the limits say of a level is what counting the worms one by one
// says.
func TestLimitsAgreeWithCounting(t *testing.T) {
	f := &farm.Farm{Species: husbandry.Species()}
	rapid.Check(t, func(t *rapid.T) {
		ids := rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"red", "european", "blue", "african"}), 1, 4, rapid.ID[string]).Draw(t, "ids")
		b := bin(ids...)
		left := 20
		for i := range b.Species { // in steps of 5 %, so that a half and three quarters come up
			part := left
			if i < len(ids)-1 {
				part = rapid.IntRange(0, left).Draw(t, "part")
			}
			b.Species[i].Fraction, left = float64(part)/20, left-part
		}
		worms := husbandry.WormsOf(f, b)
		v := rapid.SampledFrom([]float64{3.9, 8.9, 9, 14.9, 15, 20.9, 21, 22, 25, 25.1, 30, 30.1, 31.9, 32, 32.1, 33.5, 34.1}).Draw(t, "v")
		hot, cold, danger := 0, 0, false
		for _, w := range worms {
			switch n := int(math.Round(w.Part * 20)); {
			case v > w.Temperature.Thrive.High:
				hot += n
			case v < w.Temperature.Thrive.Low:
				cold += n
			}
			danger = danger || husbandry.Word(w.Species, farm.Temperature, v) == farm.InDanger
		}
		l := husbandry.WormLimits(worms, farm.Temperature)
		for what, got := range map[string][2]bool{
			"half too hot": {v > l.High.Half, hot > 10}, "most too hot": {v > l.High.Most, hot > 15},
			"half too cold": {v < l.Low.Half, cold > 10}, "most too cold": {v < l.Low.Most, cold > 15},
			"danger": {v < l.Low.Harm || v > l.High.Harm, danger},
		} {
			if got[0] != got[1] {
				t.Fatalf("%s at %v: limits say %v, counting says %v", what, v, got[0], got[1])
			}
		}
		if b := l.Bands(); b.Thrive.Low > b.Thrive.High || b.Thrive.Low < b.Survive.Low || b.Thrive.High > b.Survive.High {
			t.Fatalf("not nested: %v", b)
		}
	})
}

func band(lo, hi float64) farm.Band { return farm.Band{Low: lo, High: hi} }

func bin(ids ...string) farm.Bin {
	b := farm.Bin{Name: "bed", Zones: []farm.Zone{{Name: "near", Aim: farm.Living}}}
	for _, id := range ids {
		b.Species = append(b.Species, farm.Share{Species: id, Fraction: 1 / float64(len(ids))})
	}
	return b
}

func TestZoneBands(t *testing.T) {
	f := &farm.Farm{Species: husbandry.Species()}
	cases := []struct {
		name        string
		bin         farm.Bin
		zone        farm.Zone
		temp, moist farm.Bands
	}{
		{"keeping", bin(), farm.Zone{Aim: farm.Keeping},
			farm.Bands{Thrive: band(2, 25), Survive: band(0, 32)}, farm.Bands{Thrive: band(40, 55), Survive: band(33, 65)}},
		{"sifting", bin("red"), farm.Zone{Aim: farm.Sifting},
			farm.Bands{}, farm.Bands{Thrive: band(35, 45), Survive: band(28, 75)}},
		{"living red", bin("red"), farm.Zone{Aim: farm.Living},
			farm.Bands{}, farm.Bands{Thrive: band(70, 85), Survive: band(60, 90)}},
		{"living mixed: by mass", bin("red", "european", "blue"), farm.Zone{Aim: farm.Living}, farm.Bands{}, farm.Bands{}},
		{"living mixed, own thrive only", bin("red", "blue"), farm.Zone{Aim: farm.Living, Bands: map[farm.Quantity]farm.Bands{farm.Moisture: farm.Bands{Thrive: band(72, 82)}}},
			farm.Bands{}, farm.Bands{Thrive: band(72, 82), Survive: band(65, 88)}},
		{"living without species: the table's first", bin(), farm.Zone{Aim: farm.Living},
			farm.Bands{}, farm.Bands{Thrive: band(70, 85), Survive: band(60, 90)}},
		{"own bands", bin("red"), farm.Zone{Aim: farm.Living,
			Bands: map[farm.Quantity]farm.Bands{farm.Temperature: farm.Bands{Thrive: band(10, 20), Survive: band(5, 28)}, farm.Moisture: farm.Bands{Thrive: band(68, 82), Survive: band(58, 88)}}},
			farm.Bands{Thrive: band(10, 20), Survive: band(5, 28)}, farm.Bands{Thrive: band(68, 82), Survive: band(58, 88)}},
		{"own thrive only", bin("red"), farm.Zone{Aim: farm.Living,
			Bands: map[farm.Quantity]farm.Bands{farm.Temperature: farm.Bands{Thrive: band(10, 34)}, farm.Moisture: farm.Bands{Thrive: band(55, 80)}}},
			farm.Bands{Thrive: band(10, 34), Survive: band(4, 34)}, farm.Bands{Thrive: band(55, 80), Survive: band(55, 90)}},
		{"own survive only", bin("red"), farm.Zone{Aim: farm.Keeping, Bands: map[farm.Quantity]farm.Bands{farm.Moisture: farm.Bands{Survive: band(42, 80)}}},
			farm.Bands{Thrive: band(2, 25), Survive: band(0, 32)}, farm.Bands{Thrive: band(42, 55), Survive: band(42, 80)}},
		{"own survive only, sifting temperature", bin(), farm.Zone{Aim: farm.Sifting, Bands: map[farm.Quantity]farm.Bands{farm.Temperature: farm.Bands{Survive: band(0, 40)}}},
			farm.Bands{Thrive: band(0, 40), Survive: band(0, 40)}, farm.Bands{Thrive: band(35, 45), Survive: band(28, 75)}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			temp, moist := husbandry.ZoneBands(f, c.bin, c.zone)
			if d := cmp.Diff(c.temp, temp); d != "" {
				t.Errorf("temperature (-want +got):\n%s", d)
			}
			if d := cmp.Diff(c.moist, moist); d != "" {
				t.Errorf("moisture (-want +got):\n%s", d)
			}
		})
	}
}

func TestWormsOf(t *testing.T) {
	f := &farm.Farm{Species: husbandry.Species()}
	tub := farm.Bin{Zones: []farm.Zone{{Aim: farm.Keeping}}}
	if got := husbandry.WormsOf(f, tub); len(got) != 0 {
		t.Errorf("a tub of castings has worms: %v", got)
	}
	got := husbandry.WormsOf(f, bin("blue", "nobody", "red"))
	if len(got) != 2 || got[0].ID != "blue" || got[1].ID != "red" {
		t.Errorf("got %v, want blue then red", got)
	}
}

// Law: thrive lies inside survive whatever a zone overrules.
func TestZoneBandsAreNested(t *testing.T) {
	f := &farm.Farm{Species: husbandry.Species()}
	rapid.Check(t, func(t *rapid.T) {
		own := func(label string) farm.Bands {
			e := rapid.SliceOfN(rapid.Float64Range(1, 95), 4, 4).Draw(t, label)
			lo, hi := min(e[0], e[1]), max(e[0], e[1])
			b := farm.Bands{Thrive: band(lo, hi), Survive: band(min(lo, e[2]), max(hi, e[3]))}
			switch rapid.IntRange(0, 3).Draw(t, label+" given") {
			case 0:
				return farm.Bands{}
			case 1:
				b.Survive = farm.Band{}
			case 2:
				b.Thrive = farm.Band{}
			}
			return b
		}
		z := farm.Zone{Aim: rapid.SampledFrom(farm.Aims).Draw(t, "aim"), Bands: map[farm.Quantity]farm.Bands{farm.Temperature: own("t"), farm.Moisture: own("m")}}
		temp, moist := husbandry.ZoneBands(f, bin("red", "blue"), z)
		for _, b := range []farm.Bands{temp, moist} {
			if b.Thrive.Low < b.Survive.Low || b.Thrive.High > b.Survive.High || b.Thrive.Low > b.Thrive.High {
				t.Fatalf("not nested: %v", b)
			}
		}
	})
}
