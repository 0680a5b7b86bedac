package husbandry_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

func TestDryMass(t *testing.T) {
	told := husbandry.DryMass(farm.Zone{Aim: farm.Living, DryMassKg: 9}, 100)
	if told.From != husbandry.Told || told.Kg != 9 || !(told.LowKg < 9 && told.HighKg > 9) {
		t.Errorf("told: got %+v", told)
	}
	for _, aim := range farm.Aims {
		g := husbandry.DryMass(farm.Zone{Aim: aim}, 100)
		if g.From != husbandry.Guess || !(g.LowKg < g.Kg && g.Kg < g.HighKg) || g.Kg < 10 || g.Kg > 50 {
			t.Errorf("%s: got %+v", aim, g)
		}
	}
	if none := husbandry.DryMass(farm.Zone{Aim: farm.Living}, 0); none != (husbandry.Dry{}) {
		t.Errorf("no volume: got %+v, want nothing", none)
	}
}

func TestDoseLearnerFindsTheMass(t *testing.T) {
	const truth = 14.0
	inside := 0
	for seed := range uint64(100) {
		rng := rand.New(rand.NewPCG(seed, 1))
		var l husbandry.DoseLearner
		for range 12 {
			from := 66 + 6*rng.Float64()
			litres := 2 + 3*rng.Float64()
			to := husbandry.WetBasis(husbandry.DryBasis(from) + litres/truth)
			l.Pour(litres, from+rng.NormFloat64()*0.4, to+rng.NormFloat64()*0.4)
		}
		l.Pour(4, 70, 90) // a jotted gallon that was really a hose
		l.Pour(4, 70, 71.2)
		d, ok := l.DryMass()
		if !ok {
			t.Fatalf("seed %d: not learned: %+v", seed, l)
		}
		near(t, "learned dry mass", d.Kg, truth, 0.4*truth)
		if d.LowKg <= truth && truth <= d.HighKg {
			inside++
		}
	}
	if inside < 70 {
		t.Errorf("the range holds the truth in %d of 100, want at least 70", inside)
	}
}

func TestDoseLearnerRefuses(t *testing.T) {
	var l husbandry.DoseLearner
	for name, taught := range map[string]bool{
		"no rise":         l.Pour(2, 70, 70.4),
		"a fall":          l.Pour(2, 70, 66),
		"nothing poured":  l.Pour(0, 70, 75),
		"negative litres": l.Pour(-1, 70, 75),
	} {
		if taught {
			t.Errorf("%s taught something", name)
		}
	}
	l.Pour(2, 70, 72)
	l.Pour(2, 70, 72)
	if _, ok := l.DryMass(); ok {
		t.Error("two waterings are too few")
	}
	l.Pour(2, 70, 72)
	if d, ok := l.DryMass(); !ok || d.From != husbandry.Learned {
		t.Errorf("three alike should do: %+v", d)
	}
	l.Forget()
	for _, to := range []float64{72, 78, 90} {
		l.Pour(2, 70, to)
	}
	if d, ok := l.DryMass(); ok {
		t.Errorf("waterings that disagree give no mass, got %+v", d)
	}
}

func TestDoseLearnerKeepsNine(t *testing.T) {
	var l husbandry.DoseLearner
	for i := range 30 {
		l.Pour(float64(1+i), 70, 75)
	}
	if n := len(l.Doses); n != 9 || l.Doses[8].Litres != 30 {
		t.Errorf("kept %d, newest %v; want 9, the newest last", n, l.Doses[n-1])
	}
}

// The rises are noisy and the litres are not: small waterings beside big ones do
// not make a bin seem small or big.
func TestDoseLearnerIsNotLedBySmallRises(t *testing.T) {
	const truth = 14.0
	var off []float64
	for seed := range uint64(200) {
		rng := rand.New(rand.NewPCG(seed, 2))
		var l husbandry.DoseLearner
		for range 6 {
			from, litres := 66+6*rng.Float64(), 1.5+4*rng.Float64()
			l.Pour(litres, from, husbandry.WetBasis(husbandry.DryBasis(from)+litres/truth)+0.85*rng.NormFloat64())
		}
		if d, ok := l.DryMass(); ok {
			off = append(off, d.Kg/truth)
		}
	}
	slices.Sort(off)
	if mid := off[len(off)/2]; len(off) < 190 || mid < 0.9 || mid > 1.1 {
		t.Errorf("got %d of 200 learned, the middle one %.2f of the truth", len(off), mid)
	}
}

func TestWhatWasLearnedMeetsWhatWasThought(t *testing.T) {
	learned := husbandry.Dry{Kg: 10, LowKg: 8, HighKg: 12.5, From: husbandry.Learned}
	guess := husbandry.Dry{Kg: 20, LowKg: 10, HighKg: 40, From: husbandry.Guess}
	d := learned.With(guess)
	if d.From != husbandry.Learned || d.Kg < 10 || d.Kg > 12 || d.HighKg/d.LowKg >= learned.HighKg/learned.LowKg {
		t.Errorf("got %+v, want it near the better known, and known better than either", d)
	}
	if d := learned.With(husbandry.Dry{}); d != learned {
		t.Errorf("got %+v beside nothing, want what was learned", d)
	}
}

func TestWhatWasToldIsHeldAgainstWaterings(t *testing.T) {
	learned := husbandry.Dry{Kg: 10, LowKg: 8, HighKg: 12.5, From: husbandry.Learned}
	both := func(kg, low, high float64) husbandry.Dry {
		return husbandry.Dry{Kg: kg, LowKg: low, HighKg: high, From: husbandry.Learned}
	}
	for kg, want := range map[float64]husbandry.Dry{
		6: learned, 7.2: both(8.49, 6.48, 12.5), 9: {Kg: 9, LowKg: 8.1, HighKg: 9.9, From: husbandry.Told},
		11: {Kg: 11, LowKg: 9.9, HighKg: 12.1, From: husbandry.Told}, 14: both(11.83, 8, 15.4), 16: learned,
	} {
		told := husbandry.DryMass(farm.Zone{Aim: farm.Living, DryMassKg: kg}, 0)
		if diff := cmp.Diff(want, told.Against(learned), cmpopts.EquateApprox(0, 0.01)); diff != "" {
			t.Errorf("%g kg told (-want +got):\n%s", kg, diff)
		}
	}
}
