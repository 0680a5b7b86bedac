package rules_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"binwatchd/internal/farm"
)

// One probe whose number is infinite must not take the whole view away from
// those who look: JSON has no word for it.
func TestAViewCanAlwaysBeWritten(t *testing.T) {
	wild := []float64{math.Inf(1), math.Inf(-1), math.NaN(), math.MaxFloat64, -math.MaxFloat64, math.SmallestNonzeroFloat64}
	rapid.Check(t, func(t *rapid.T) {
		w := watching(nursery(rapid.SampledFrom([]farm.Aim{farm.Living, farm.Sifting, farm.Keeping}).Draw(t, "aim"), "red", "european"))
		at := t0
		for range rapid.IntRange(1, 80).Draw(t, "readings") {
			at = at.Add(time.Duration(rapid.IntRange(1, 300).Draw(t, "minutes")) * time.Minute)
			number := rapid.OneOf(rapid.Float64Range(0, 90), rapid.SampledFrom(wild))
			r := farm.Reading{
				Probe: rapid.SampledFrom([]string{"t", "m", "b"}).Draw(t, "probe"), At: at,
				Raw: number.Draw(t, "raw"), Value: number.Draw(t, "value"),
				Retained: rapid.IntRange(0, 9).Draw(t, "retained") == 0,
			}
			if !farm.Finite(r.Value) {
				r.Doubt = farm.NotANumber
			} else if r.Value < 0 || r.Value > 90 {
				r.Doubt = farm.OutOfRange
			}
			w.step(farm.Event{Kind: farm.EventReading, Arrived: at, Reading: r})
			v := w.state.Look(at)
			if _, err := json.Marshal(v); err != nil {
				t.Fatalf("after %+v: %v", r, err)
			}
			for _, p := range v.Probes {
				if p.ID == r.Probe && !r.Retained && (p.Value != nil) != farm.Finite(r.Value) {
					t.Fatalf("after %+v the view has the value %v", r, p.Value)
				}
			}
		}
		if _, err := json.Marshal(w.changes); err != nil {
			t.Fatal(err)
		}
	})
}
