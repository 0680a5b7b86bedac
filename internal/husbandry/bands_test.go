package husbandry_test

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

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
	fen := farm.Species{ID: "fen", Moisture: farm.Bands{Thrive: band(50, 60), Survive: band(45, 65)}}
	f.Species = append(f.Species, fen)
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
		{"living mixed: the overlap", bin("red", "european", "blue"), farm.Zone{Aim: farm.Living},
			farm.Bands{}, farm.Bands{Thrive: band(75, 83), Survive: band(65, 88)}},
		{"living mixed without an overlap: the first's", bin("red", "fen"), farm.Zone{Aim: farm.Living},
			farm.Bands{}, farm.Bands{Thrive: band(70, 85), Survive: band(60, 90)}},
		{"living without species: the table's first", bin(), farm.Zone{Aim: farm.Living},
			farm.Bands{}, farm.Bands{Thrive: band(70, 85), Survive: band(60, 90)}},
		{"own bands", bin("red"), farm.Zone{Aim: farm.Living,
			Temperature: farm.Bands{Thrive: band(10, 20), Survive: band(5, 28)},
			Moisture:    farm.Bands{Thrive: band(68, 82), Survive: band(58, 88)}},
			farm.Bands{Thrive: band(10, 20), Survive: band(5, 28)}, farm.Bands{Thrive: band(68, 82), Survive: band(58, 88)}},
		{"own thrive only", bin("red"), farm.Zone{Aim: farm.Living,
			Temperature: farm.Bands{Thrive: band(10, 34)}, Moisture: farm.Bands{Thrive: band(55, 80)}},
			farm.Bands{Thrive: band(10, 34), Survive: band(4, 34)}, farm.Bands{Thrive: band(55, 80), Survive: band(55, 90)}},
		{"own survive only", bin("red"), farm.Zone{Aim: farm.Keeping, Moisture: farm.Bands{Survive: band(42, 80)}},
			farm.Bands{Thrive: band(2, 25), Survive: band(0, 32)}, farm.Bands{Thrive: band(42, 55), Survive: band(42, 80)}},
		{"own survive only, sifting temperature", bin(), farm.Zone{Aim: farm.Sifting, Temperature: farm.Bands{Survive: band(0, 40)}},
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

func TestSpeciesOf(t *testing.T) {
	f := &farm.Farm{Species: husbandry.Species()}
	tub := farm.Bin{Zones: []farm.Zone{{Aim: farm.Keeping}}}
	if got := husbandry.SpeciesOf(f, tub); len(got) != 0 {
		t.Errorf("a tub of castings has worms: %v", got)
	}
	got := husbandry.SpeciesOf(f, bin("blue", "nobody", "red"))
	if len(got) != 2 || got[0].ID != "blue" || got[1].ID != "red" {
		t.Errorf("got %v, want blue then red", got)
	}
}

// The words of DESIGN for a mixed bin, and common practice, no source: a bin
// of red, European and blue worms at 65 °F raises nothing, nor in the upper
// 80s; an African-only bin is content at 75 °F and unhappy in the low 60s.
func TestTempLimitsSayWhatKeepersSay(t *testing.T) {
	mixed := []farm.Species{species(t, "red"), species(t, "european"), species(t, "blue")}
	alone := []farm.Species{species(t, "african")}
	cases := []struct {
		name       string
		worms      []farm.Species
		fahrenheit float64
		want       string
	}{
		{"mixed at 65 °F", mixed, 65, "calm"},
		{"mixed at 87 °F", mixed, 87, "calm"},
		{"mixed at 88 °F", mixed, 88, "calm"},
		{"mixed at 57 °F: past every thrive band", mixed, 57, "cold soon"},
		{"mixed at 45 °F: blue die", mixed, 45, "cold now"},
		{"mixed at 92 °F: red die", mixed, 92, "hot now"},
		{"African at 75 °F", alone, 75, "calm"},
		{"African at 62 °F", alone, 62, "cold soon"},
		{"African at 87 °F", alone, 87, "hot today"},
		{"red at 80 °F", mixed[:1], 80, "hot today"},
		{"no species", nil, 140, "calm"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			if got := verdict(c.worms, farm.CelsiusOf(c.fahrenheit)); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

func verdict(worms []farm.Species, tempC float64) string {
	coldNow, coldSoon, hotToday, hotNow := husbandry.TempLimits(worms)
	switch {
	case tempC < coldNow:
		return "cold now"
	case tempC > hotNow:
		return "hot now"
	case tempC < coldSoon:
		return "cold soon"
	case tempC > hotToday:
		return "hot today"
	}
	return "calm"
}

// Law: the limits agree with the words, species by species.
func TestTempLimitsAgreeWithWords(t *testing.T) {
	table := husbandry.Species()
	rapid.Check(t, func(t *rapid.T) {
		worms := rapid.SliceOfNDistinct(rapid.SampledFrom(table), 1, 4, func(s farm.Species) string { return s.ID }).Draw(t, "worms")
		tempC := rapid.Float64Range(-5, 45).Draw(t, "tempC")
		coldNow, coldSoon, hotToday, hotNow := husbandry.TempLimits(worms)
		danger, outOfThrive := false, true
		for _, s := range worms {
			danger = danger || husbandry.Word(s, tempC) == husbandry.InDanger
			outOfThrive = outOfThrive && husbandry.Word(s, tempC) != husbandry.Thriving
		}
		if got := tempC < coldNow || tempC > hotNow; got != danger {
			t.Fatalf("past survive: limits say %v, words say %v", got, danger)
		}
		if (tempC < coldSoon || tempC > hotToday) && !outOfThrive {
			t.Fatal("past the limits while a species thrives")
		}
	})
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
		z := farm.Zone{Aim: rapid.SampledFrom(farm.Aims).Draw(t, "aim"), Temperature: own("t"), Moisture: own("m")}
		temp, moist := husbandry.ZoneBands(f, bin("red", "blue"), z)
		for _, b := range []farm.Bands{temp, moist} {
			if b.Thrive.Low < b.Survive.Low || b.Thrive.High > b.Survive.High || b.Thrive.Low > b.Thrive.High {
				t.Fatalf("not nested: %v", b)
			}
		}
	})
}

func TestLimitsOfNoSpeciesAreInfinite(t *testing.T) {
	a, b, c, d := husbandry.TempLimits(nil)
	if !math.IsInf(a, -1) || !math.IsInf(b, -1) || !math.IsInf(c, 1) || !math.IsInf(d, 1) {
		t.Errorf("got %v %v %v %v", a, b, c, d)
	}
}
