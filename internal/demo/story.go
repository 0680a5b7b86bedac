package demo

import (
	"time"

	"binwatchd/internal/physics"
)

// The story comes round every cycle, counted from the midnight (UTC) before
// the start.
const (
	day   = 24 * time.Hour
	cycle = 30 * day

	coldSnapFrom  = 6*day + 12*time.Hour
	coldSnapLasts = 4 * day
	coldSnapByK   = -14

	powerOffFrom  = 8*day + 20*time.Hour // the cabinet's heater, in the cold snap
	powerOffLasts = 30 * time.Hour

	heatWaveFrom  = 17 * day
	heatWaveLasts = 5 * day
	heatWaveByK   = 11

	firstRound = 1*day + 9*time.Hour
	roundEvery = 7 * day
)

// weather is the late spring of Hillfoot with the story's spells.
func weather(d physics.Dice, origin time.Time) physics.Climate {
	return physics.Climate{
		Dice: d.Named("weather"), MeanC: 17, SwingK: 6, FrontK: 0.8, SunWM2: 650,
		Spells: []physics.Spell{
			{From: origin.Add(coldSnapFrom), Lasts: coldSnapLasts, Every: cycle, ByK: coldSnapByK},
			{From: origin.Add(heatWaveFrom), Lasts: heatWaveLasts, Every: cycle, ByK: heatWaveByK},
		},
	}
}

// powerOff tells whether the cabinet's heater has failed.
func powerOff(t, origin time.Time) bool {
	into := t.Sub(origin) % cycle
	return into >= powerOffFrom && into < powerOffFrom+powerOffLasts
}
