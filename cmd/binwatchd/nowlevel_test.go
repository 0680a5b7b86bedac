package main

import (
	"bytes"
	"strings"
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

// Now names who can't be told, with the server's words; where all can, it is
// silent.
func TestNowNamesWhoCannotBeTold(t *testing.T) {
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	v := farm.View{Farm: "Hillfoot", At: at, Intake: farm.IntakeView{Running: true, Connected: true}, Recipients: []farm.Recipient{
		{By: "mail", Place: 1, Address: "kim@example.org", Trouble: "550 no such keeper.", Since: at.Add(-3 * time.Hour)},
		{By: "push", Place: 1, Last: at},
	}}
	var got bytes.Buffer
	printView(&got, v, &farm.Farm{Location: time.UTC})
	want := "Notices by mail 1 (kim@example.org) have not arrived since about 6 am: 550 no such keeper.\n"
	if !strings.Contains(got.String(), want) || strings.Contains(got.String(), "push") {
		t.Errorf("got %q, want it to have %q and no push", got.String(), want)
	}
}

// A battery's level is in V or in %, as its probe says; pH has no unit.
func TestNowWritesAProbesValueWithItsUnit(t *testing.T) {
	f := &farm.Farm{Probes: []farm.Probe{
		{ID: "charge", Measures: farm.Battery, Unit: farm.Percent}, {ID: "cell", Measures: farm.Battery, Unit: farm.Millivolt},
		{ID: "sour", Measures: farm.PH, Unit: farm.PHUnit}, {ID: "load", Measures: farm.Weight, Unit: farm.Gram},
	}}
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	v := farm.View{At: at, Units: farm.Metric}
	for i, value := range []float64{85, 3.71, 6.9, 14.25} {
		v.Probes = append(v.Probes, farm.ProbeView{ID: f.Probes[i].ID, Measures: f.Probes[i].Measures, At: at, Value: &value})
	}
	var got bytes.Buffer
	printProbes(&got, v, f)
	for _, want := range []string{"charge: 85 %,", "cell: 3.71 V,", "sour: 6.9,", "load: 14.3 kg,"} {
		if !strings.Contains(got.String(), want) {
			t.Errorf("got %q, want it to have %q", got.String(), want)
		}
	}
}
