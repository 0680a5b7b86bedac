package trend_test

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"binwatchd/internal/trend"
)

const ahead = 12 * time.Hour

// steady is a track of a level that rises by so much an hour over some hours
// up to day0.
func steady(hours int, end, perHour float64) *trend.Track {
	k := trend.NewTrack()
	for i := hours * 6; i >= 0; i-- {
		k.Add(day0.Add(time.Duration(-i)*10*time.Minute), end-perHour*float64(i)/6)
	}
	return &k
}

// lossOf is a track of a zone that loses so much water a day, kg/kg, and is at
// endPct now.
func lossOf(perDay, endPct float64) *trend.Track {
	k := trend.NewTrack()
	for i := 300 * 6; i >= 0; i-- {
		w := dryOf(endPct) + perDay*float64(i)/6/24
		k.Add(day0.Add(time.Duration(-i)*10*time.Minute), 100*w/(1+w))
	}
	return &k
}

func TestHeatingSaysNothingWithoutCause(t *testing.T) {
	empty := trend.NewTrack()
	opened := steady(300, 25, 0.5/24)
	opened.Restart(day0.Add(-time.Hour))
	cases := map[string]*trend.Track{
		"no data":             &empty,
		"an hour of data":     steady(1, 30, 1),
		"level":               steady(300, 30, 0),
		"cooling":             steady(300, 30, -0.02),
		"far below the limit": steady(10, 8, 0.5),
		"a slow spring":       steady(300, 25, 0.5/24),
		"opened an hour ago":  opened,
	}
	for name, bin := range cases {
		got := trend.HeatingFit(bin, nil, heatLimit, ahead, day0)
		if got.Self || !got.Crossing.Crosses.IsZero() {
			t.Errorf("%s: got %+v, want nothing", name, got)
		}
	}
}

func TestHeatingPastTheLimit(t *testing.T) {
	got := trend.HeatingFit(steady(200, 33, 0.1), nil, heatLimit, ahead, day0)
	if !got.Crossing.Past || got.Crossing.Chance != 1 {
		t.Errorf("got %+v, want past", got.Crossing)
	}
}

// A bin pushed up by its room alone is foreseen to cross, and is not said to
// heat itself.
func TestHeatingOfTheRoom(t *testing.T) {
	bin, air := trend.NewTrack(), trend.NewTrack()
	at := func(hour float64) float64 { return 27 + 7*math.Sin((hour-9)/12*math.Pi) }
	follows := at(0)
	var got trend.Heating
	for i := range 9*24*6 + 14*6 { // until two in the afternoon
		hour := float64(i) / 6
		follows += (at(hour) - follows) / 6 / 2
		air.Add(simTime(i*10), at(hour))
		bin.Add(simTime(i*10), follows)
		if i%6 == 5 {
			got = trend.HeatingFit(&bin, &air, heatLimit, ahead, simTime(i*10))
			if got.Self {
				t.Fatalf("hour %.0f: %+v", hour, got)
			}
		}
	}
	if f, ok := got.Crossing.Forecast(); !got.ByRoom || !ok && !got.Crossing.Past || f.Latest.Before(f.Earliest) {
		t.Errorf("got %+v, want a crossing by the room", got)
	}
}

func TestDryingEdges(t *testing.T) {
	const perDay = 0.4 // points
	fresh := steady(200, 75, -perDay/24)
	fresh.Restart(day0.Add(-20 * time.Hour))
	empty := trend.NewTrack()
	for name, c := range map[string]struct {
		zone  *trend.Track
		limit float64
		quiet bool
	}{
		"no data":          {&empty, 70, true},
		"a day of data":    {steady(24, 75, -perDay/24), 70, true},
		"watered just now": {fresh, 70, true},
		"getting wetter":   {steady(300, 75, perDay/24), 70, false},
	} {
		got := dryingFit(c.zone, c.limit, day0)
		if got.Quiet != c.quiet || got.Never == c.quiet || !got.Crosses.IsZero() {
			t.Errorf("%s: got %+v, want quiet %v", name, got, c.quiet)
		}
	}
	if got := dryingFit(steady(300, 69, -perDay/24), 70, day0); !got.Past {
		t.Errorf("below the limit: got %+v, want past", got)
	}
	got := dryingFit(lossOf(0.05, 72), 70, day0)
	days := got.Crosses.Sub(day0).Hours() / 24
	if want := (dryOf(72) - dryOf(70)) / 0.05; math.Abs(days-want) > 0.7 {
		t.Errorf("at 0.05 kg/kg a day: %.1f days, want about %.1f", days, want)
	}
	both := trend.DryingFits(lossOf(0.05, 72), day0, 75, 70)
	if d := cmp.Diff(got, both[1]); d != "" || !both[0].Past {
		t.Errorf("several limits at once differ: %s%+v", d, both[0])
	}
	if f, ok := got.Forecast(); !ok || !f.Earliest.Before(f.Crosses) || !f.Crosses.Before(f.Latest) {
		t.Errorf("got %+v", f)
	}
}

// Computed from the Lewis law on the dry basis: from 0.70 with 0.10 at the end
// and 0.05 an hour, 0.30 is reached after 21.972 h. In the track an hour
// stands for twelve, so that days of data lie before; the noise floor of a
// probe is a good part of so small a moisture.
func TestDryingOfLewis(t *testing.T) {
	k := trend.NewTrack()
	const slow = 12
	for i := -slow * 12 * 6; i <= 0; i++ {
		w := 0.10 + 0.60*math.Exp(-0.05/slow*float64(i)/6)
		k.Add(day0.Add(time.Duration(i)*10*time.Minute), 100*w/(1+w))
	}
	got := dryingFit(&k, 100*0.30/1.30, day0)
	if hours := got.Crosses.Sub(day0).Hours() / slow; math.Abs(hours-21.972) > 3 {
		t.Errorf("reaches 0.30 in %.2f h, want 21.97", hours)
	}
}

// Gaps, faults between and any numbers at all: no panic, and what is said
// hangs together.
func TestFitsTakeAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bin, air := trend.NewTrack(), trend.NewTrack()
		now := day0
		for range rapid.IntRange(0, 120).Draw(t, "n") {
			now = now.Add(time.Duration(rapid.IntRange(0, 900).Draw(t, "minutes")) * time.Minute)
			v := rapid.Float64Range(-50, 110).Draw(t, "v")
			switch rapid.IntRange(0, 9).Draw(t, "which") {
			case 0, 1, 2:
				air.Add(now, v)
			case 3:
				bin.Restart(now)
			case 4: // its time may be wrong
				bin.Fed(now.Add(time.Duration(rapid.IntRange(-600, 600).Draw(t, "fed at")) * time.Minute))
			default:
				bin.Add(now, v)
			}
		}
		limit := rapid.Float64Range(-10, 100).Draw(t, "limit")
		for _, c := range []trend.Crossing{
			trend.HeatingFit(&bin, &air, limit, ahead, now).Crossing,
			trend.HeatingFit(&bin, nil, limit, ahead, now).Crossing,
			dryingFit(&bin, limit, now),
		} {
			if !(c.Chance >= 0 && c.Chance <= 1+1e-9) {
				t.Fatalf("chance %v", c.Chance)
			}
			if c.Quiet || c.Never {
				if !c.Crosses.IsZero() || c.Past {
					t.Fatalf("says nothing and something: %+v", c)
				}
				continue
			}
			if c.Earliest.Before(now.Add(-time.Minute)) || c.Crosses.Before(c.Earliest) || c.Latest.Before(c.Crosses) {
				t.Fatalf("out of order: %+v at %v", c, now)
			}
		}
	})
}

// A gateway that drops out for some hours in the middle of a climb hides it no
// longer than it is away: what was heard before and after says what lies between.
func TestHeatingAcrossAGap(t *testing.T) {
	swing := func(hour float64) float64 { return math.Sin((hour - 9) / 12 * math.Pi) }
	const feed, away = 6*24 + 0.0, 6*24 + 7.0 // hours
	for _, known := range []bool{false, true} {
		for _, gap := range []float64{0, 2.5, 3, 4, 5} {
			bin, air := trend.NewTrack(), trend.NewTrack()
			for minute := 0; ; minute += 10 {
				hour := float64(minute) / 60
				if hour > away+gap+0.5 {
					break
				}
				if hour >= away && hour < away+gap {
					continue
				}
				heat := 0.0
				if hour > feed {
					heat = hour - feed
				}
				air.Add(simTime(minute), 18+2*swing(hour))
				bin.Add(simTime(minute), 19+swing(hour-2)+heat)
			}
			room := &air
			if !known {
				room = nil
			}
			now := simTime(int((away + gap + 0.5) * 60))
			if got := trend.HeatingFit(&bin, room, heatLimit, ahead, now); !got.Self || got.Crossing.Crosses.IsZero() {
				t.Errorf("%v hours away, the room known %v: got %+v, want heat of its own foreseen to cross", gap, known, got)
			}
		}
	}
}
