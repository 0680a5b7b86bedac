package rehearse_test

import (
	"fmt"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/rehearse"
)

// A recording of a gateway that kept two days and poured them out shows what the
// live loop would have told: the heat after it, in time.
func TestARecordedPourIsNoYardstick(t *testing.T) {
	var hot []farm.Change
	r := rehearse.New(rehearse.Config{Farm: bed(), Prefix: "binwatch", On: func(ch farm.Change) {
		if ch.Condition == farm.TooHot && ch.Bin == "bed0" {
			hot = append(hot, ch)
		}
	}})
	poured := t0.Add(49 * time.Hour)
	began := poured.Add(time.Minute)
	play(t, r, func(say func(time.Time, string)) {
		for at := t0; at.Before(t0.Add(time.Hour)); at = at.Add(time.Minute) {
			say(at, "21")
		}
		for i := range 2000 {
			say(poured.Add(time.Duration(i)*5*time.Millisecond), fmt.Sprint(20+float64(i%9)/10))
		}
		for at := began; at.Before(began.Add(2 * time.Hour)); at = at.Add(time.Minute) {
			say(at, "45")
		}
	})
	if len(hot) == 0 || hot[0].At.Sub(began) > 32*time.Minute {
		t.Errorf("got %+v, want the heat told after its patience", hot)
	}
	if got := r.Stats().Doubted; got != 0 {
		t.Errorf("got %d readings doubted, want real heat believed", got)
	}
}
