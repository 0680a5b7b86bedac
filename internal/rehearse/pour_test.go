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
	at := t0
	for range 60 {
		r.Message(at, "bed/t0", []byte("21"))
		at = at.Add(time.Minute)
	}
	at = at.Add(48 * time.Hour)
	for i := range 2000 {
		r.Message(at.Add(time.Duration(i)*5*time.Millisecond), "bed/t0", []byte(fmt.Sprint(20+float64(i%9)/10)))
	}
	began := at.Add(time.Minute)
	for at = began; at.Before(began.Add(2 * time.Hour)); at = at.Add(time.Minute) {
		r.Message(at, "bed/t0", []byte("45"))
	}
	if len(hot) == 0 || hot[0].At.Sub(began) > 32*time.Minute {
		t.Errorf("got %+v, want the heat told after its patience", hot)
	}
	if got := r.Stats().Doubted; got != 0 {
		t.Errorf("got %d readings doubted, want real heat believed", got)
	}
}
