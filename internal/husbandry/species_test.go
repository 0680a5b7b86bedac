package husbandry_test

import (
	"testing"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

func species(t *testing.T, id string) farm.Species {
	t.Helper()
	f := farm.Farm{Species: husbandry.Species()}
	s, ok := f.SpeciesByID(id)
	if !ok {
		t.Fatalf("no species %q", id)
	}
	return s
}

func TestSpeciesTableHangsTogether(t *testing.T) {
	for _, s := range husbandry.Species() {
		t.Run(s.ID, func(t *testing.T) {
			for what, b := range map[string]farm.Bands{"temperature": s.Temperature, "moisture": s.Moisture} {
				if !(b.Survive.Low <= b.Thrive.Low && b.Thrive.Low < b.Thrive.High && b.Thrive.High <= b.Survive.High) {
					t.Errorf("%s: thrive %v does not lie inside survive %v", what, b.Thrive, b.Survive)
				}
			}
			c := s.Cardinal
			if !(c.Best > (c.Min+c.Max)/2 && c.Best < c.Max) {
				t.Errorf("cardinal temperatures %v do not suit the curve", c)
			}
			// Loehr, Neuhauser & Malecki 1985, Water Research 19:1311–1317: all four
			// died at 35 °C.
			if s.Temperature.Survive.High > 34 || c.Max > 35 {
				t.Errorf("survive to %v °C, active to %v °C: too near the lethal 35 °C", s.Temperature.Survive.High, c.Max)
			}
			for _, src := range s.Sources {
				if src.Figure == "" || src.Says == "" || src.Where == "" {
					t.Errorf("source with a gap: %+v", src)
				}
			}
			if len(s.Sources) < 5 {
				t.Errorf("only %d sources", len(s.Sources))
			}
		})
	}
}

func TestSpeciesIsAFreshCopy(t *testing.T) {
	husbandry.Species()[0].Sources[0].Says = "changed"
	if got := husbandry.Species()[0].Sources[0].Says; got == "changed" {
		t.Error("a caller can change the table of the next caller")
	}
}

func TestCocoonRowsMeetTheirSources(t *testing.T) {
	cases := []struct {
		id    string
		tempC float64
		days  float64
		tol   float64
		where string
	}{
		{"red", 20, 25, 0.05, "Add-my-Pet, E. fetida"},
		{"red", 22.5, 21.7, 0.05, "Add-my-Pet, E. andrei"},
		{"european", 25, 42.1, 0.01, "Viljoen, Reinecke & Hartman 1991, S Afr J Zool 26:43–48"},
		{"european", 15, 71, 0.01, "Viljoen et al. 1992"},
		{"blue", 25, 18.7, 0.01, "Hallatt, Reinecke & Viljoen 1990, S Afr J Zool 25:41–45"},
		{"african", 25, 16.6, 0.01, "Viljoen & Reinecke 1989, S Afr J Zool 24:27–32"},
	}
	for _, c := range cases {
		got := husbandry.HatchDueIn(species(t, c.id), 0, c.tempC)
		near(t, c.id+" incubation, "+c.where, got, c.days, c.tol)
	}
}
