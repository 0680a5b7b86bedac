package main

import (
	"bytes"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// What now shows beside a band is never rounded to the band's end.
func TestNowShowsALevelOnItsSideOfTheLimit(t *testing.T) {
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	bands := farm.Bands{Thrive: farm.Band{Low: 70, High: 85}, Survive: farm.Band{Low: 60, High: 90}}
	l := &farm.LevelView{Value: 69.7, At: at, Fresh: true, Bands: bands}
	var got bytes.Buffer
	printLevel(&got, *farm.Moisture.Row(), l, farm.View{At: at, Units: farm.US})
	if want := "  moisture 69.7 %, does well from 70 % to 85 %\n"; got.String() != want {
		t.Errorf("got %q, want %q", got.String(), want)
	}
}
