package husbandry_test

import (
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
