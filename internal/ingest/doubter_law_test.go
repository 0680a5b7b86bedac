package ingest_test

import (
	"bytes"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// drawReadings makes readings of any probes of a farm, honest and wild, in any
// order of time.
func drawReadings(t *rapid.T, f *farm.Farm) []farm.Reading {
	at := spring
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) farm.Reading {
		at = at.Add(time.Duration(rapid.IntRange(-20, 200).Draw(t, "minutes")) * time.Minute)
		v := rapid.OneOf(
			rapid.SampledFrom([]float64{0, 85, -127, 20, 20.5, 21, 72, math.NaN(), math.Inf(1)}),
			rapid.Float64Range(-60, 120),
		).Draw(t, "value")
		return farm.Reading{
			Probe:     rapid.SampledFrom(f.Probes).Draw(t, "probe").ID,
			At:        at,
			Raw:       v,
			Value:     v,
			Stamped:   rapid.Bool().Draw(t, "stamped"),
			Uncertain: rapid.IntRange(0, 9).Draw(t, "uncertain") == 0,
			Retained:  rapid.IntRange(0, 9).Draw(t, "retained") == 0,
		}
	}), 0, 150).Draw(t, "readings")
}

func save(t rapid.TB, d *ingest.Doubter) []byte {
	t.Helper()
	b, err := d.Save()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Replaying the journal must give the state that judging gave; and a state
// that was saved and loaded must go on like one that never stopped.
func TestJudgeLearnSaveAndLoadAgree(t *testing.T) {
	f := nursery(tenMinutes)
	rapid.Check(t, func(t *rapid.T) {
		readings := drawReadings(t, f)
		half := rapid.IntRange(0, len(readings)).Draw(t, "half")
		judged, learnt, loaded := ingest.NewDoubter(f), ingest.NewDoubter(f), ingest.NewDoubter(f)
		for i := range readings {
			if i == half {
				if err := loaded.Load(save(t, judged), farm.Renames{}); err != nil {
					t.Fatal(err)
				}
			}
			r := readings[i]
			judged.Judge(&readings[i])
			learnt.Learn(readings[i])
			if i >= half {
				loaded.Judge(&r)
				if r.Doubt != readings[i].Doubt {
					t.Fatalf("reading %d: %q after loading, %q without", i, r.Doubt, readings[i].Doubt)
				}
			}
		}
		want := save(t, judged)
		if got := save(t, learnt); !bytes.Equal(got, want) {
			t.Fatalf("learnt, not judged: %s", cmp.Diff(string(want), string(got)))
		}
		if got := save(t, loaded); half < len(readings) && !bytes.Equal(got, want) {
			t.Fatalf("loaded halfway: %s", cmp.Diff(string(want), string(got)))
		}
	})
}

// A clock that is put right moves what was heard on it, and no doubt hangs on
// when that was.
func TestAShiftedClockChangesNoDoubt(t *testing.T) {
	f := nursery(tenMinutes)
	rapid.Check(t, func(t *rapid.T) {
		readings := drawReadings(t, f)
		off := time.Duration(rapid.IntRange(-500, 20000).Draw(t, "days")) * 24 * time.Hour
		half := rapid.IntRange(0, len(readings)).Draw(t, "half")
		right, put := ingest.NewDoubter(f), ingest.NewDoubter(f)
		for i, r := range readings {
			if i == half {
				put.Shift(off, spring.AddDate(-100, 0, 0))
			}
			if i%7 == 3 {
				j := farm.Jot{At: r.At, Bin: "bed", What: farm.JotKinds[i%len(farm.JotKinds)]}
				right.Jotted(j)
				if i < half {
					j.At = j.At.Add(-off)
				}
				put.Jotted(j)
			}
			wrong := r
			if i < half {
				wrong.At = wrong.At.Add(-off)
			}
			right.Judge(&r)
			put.Judge(&wrong)
			if r.Doubt != wrong.Doubt {
				t.Fatalf("reading %d: %q on a clock put right, %q on one that was never wrong", i, wrong.Doubt, r.Doubt)
			}
		}
		if a, b := save(t, right), save(t, put); half < len(readings) && !bytes.Equal(a, b) {
			t.Fatal(cmp.Diff(string(a), string(b)))
		}
	})
}

func TestLoadKeepsOnlyWhatStillMeansTheSame(t *testing.T) {
	f := nursery(tenMinutes)
	d := newTester(f)
	at := d.calm("bed-top", spring, 3, 20)
	b := save(t, d.Doubter)

	changed := nursery(tenMinutes)
	changed.Probes[1].Unit = farm.Fahrenheit
	gone := nursery(tenMinutes)
	gone.Probes[1].ID = "bed-upper"
	cases := []struct {
		name string
		farm *farm.Farm
		id   string
		want farm.Doubt // of a wild number
	}{
		{"same farm", f, "bed-top", farm.TooFast},
		{"another unit", changed, "bed-top", farm.NoDoubt},
		{"another probe", gone, "bed-upper", farm.NoDoubt},
	}
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			d := newTester(tt.farm)
			if err := d.Load(b, farm.Renames{}); err != nil {
				t.Fatal(err)
			}
			if got := d.say(tt.id, at, 45); got != tt.want {
				t.Errorf("got %q, want %q", got, tt.want)
			}
		})
	}
}

func TestLoadRefusesWhatItCannotRead(t *testing.T) {
	for _, in := range []string{"", "{", `{"version":99}`, `{"version":1,"tracks":7}`} {
		d := newTester(nursery(tenMinutes))
		if err := d.Load([]byte(in), farm.Renames{}); err == nil {
			t.Errorf("Load(%q) gave no error", in)
		}
		if got := d.say("bed-top", spring, 20); got != farm.NoDoubt {
			t.Errorf("after a bad Load: %s", got)
		}
	}
}

// Readings whose time means nothing are held against nothing but themselves.
func TestUncertainAndLateReadingsTeachNothing(t *testing.T) {
	d := newTester(lone(farm.Temperature, tenMinutes))
	at := d.calm("p", spring, 2, 20)
	before := save(t, d.Doubter)
	for _, r := range []farm.Reading{
		{Probe: "p", At: at, Raw: 40, Value: 40, Uncertain: true},
		{Probe: "p", At: at, Raw: 40, Value: 40, Retained: true},
		{Probe: "p", At: at.Add(-time.Hour), Raw: 40, Value: 40, Stamped: true},
		{Probe: "stranger", At: at, Raw: 40, Value: 40},
	} {
		d.Judge(&r)
		if r.Doubt != farm.NoDoubt {
			t.Errorf("%+v doubted as %s", r, r.Doubt)
		}
	}
	if got := save(t, d.Doubter); !bytes.Equal(got, before) {
		t.Error(cmp.Diff(string(before), string(got)))
	}
}

// flickering is the k-th reading of a quiet probe, which is never frozen.
func flickering(k int) float64 { return 20 + 0.0625*float64([...]int{0, 0, 1, 0, -1, 0, 1, 1}[k%8]) }

func TestQuietJudgingAllocatesNothing(t *testing.T) {
	d := newTester(nursery(tenMinutes))
	at := d.calm("bed-top", spring, 3, 20)
	k := 0
	if n := testing.AllocsPerRun(1000, func() {
		v := flickering(k)
		k++
		r := farm.Reading{Probe: "bed-top", At: at, Raw: v, Value: v}
		at = at.Add(tenMinutes)
		d.Judge(&r)
	}); n != 0 {
		t.Errorf("%v allocations a reading", n)
	}
}

func FuzzDoubter(f *testing.F) {
	f.Add([]byte{0, 20, 1, 85, 2, 0, 3, 200})
	f.Add(bytes.Repeat([]byte{1, 20}, 60))
	f.Add(append(bytes.Repeat([]byte{3, 70}, 30), 3, 2, 3, 2, 3, 2, 3, 70))
	farmland := nursery(tenMinutes)
	f.Fuzz(func(t *testing.T, in []byte) {
		d, learnt := ingest.NewDoubter(farmland), ingest.NewDoubter(farmland)
		at := spring
		for i := 0; i+1 < len(in); i += 2 {
			at = at.Add(time.Duration(1+in[i]>>4) * time.Minute)
			v := float64(in[i+1]) - 60
			r := farm.Reading{Probe: farmland.Probes[int(in[i]&15)%len(farmland.Probes)].ID, At: at, Raw: v, Value: v}
			d.Judge(&r)
			learnt.Learn(r)
		}
		if a, b := save(t, d), save(t, learnt); !bytes.Equal(a, b) {
			t.Fatal(cmp.Diff(string(a), string(b)))
		}
	})
}

func BenchmarkJudge(b *testing.B) {
	d := newTester(nursery(tenMinutes))
	at := d.calm("bed-top", spring, 3, 20)
	b.ReportAllocs()
	for k := 0; b.Loop(); k++ {
		v := flickering(k)
		r := farm.Reading{Probe: "bed-top", At: at, Raw: v, Value: v}
		at = at.Add(tenMinutes)
		d.Judge(&r)
	}
}
