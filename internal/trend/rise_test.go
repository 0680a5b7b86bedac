package trend_test

import (
	"math"
	"testing"
	"time"

	"binwatchd/internal/trend"
)

// A bin in a room of 16 °C that heats by 22 K along a logistic curve, without
// noise, never crosses sooner than its interval says. The newest level is the
// mean of an hour: taken for the level now, it makes a climbing bin late.
func TestARiseIsForeseenFromWhereItIs(t *testing.T) {
	const room, height, middle, width = 16.0, 22.0, 300.0, 2.5 // hours
	level := func(hour float64) float64 { return room + height/(1+math.Exp(-(hour-middle)/width)) }
	crosses := middle + width*math.Log((heatLimit-room)/(height-(heatLimit-room)))
	bin, air := trend.NewTrack(), trend.NewTrack()
	fits := 0
	for i := range int(crosses * 6) {
		hour := float64(i) / 6
		at := day0.Add(time.Duration(i) * 10 * time.Minute)
		bin.Add(at, level(hour))
		air.Add(at, room)
		if left := crosses - hour; left > 2.5 {
			continue
		}
		got := trend.HeatingFit(&bin, &air, heatLimit, ahead, at)
		if got.Crossing.Crosses.IsZero() {
			t.Fatalf("%.1f h before the crossing nothing is foreseen: %+v", crosses-hour, got)
		}
		fits++
		if early := got.Crossing.Earliest.Sub(at).Hours(); early > crosses-hour {
			t.Errorf("%.2f h before the crossing its interval begins in %.2f h", crosses-hour, early)
		}
	}
	if fits < 6 {
		t.Errorf("only %d fits", fits)
	}
}
