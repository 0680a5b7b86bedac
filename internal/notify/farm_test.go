package notify_test

import (
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// start is the moment at which most tests begin: a Tuesday, 14:00 in London.
var start = time.Date(2025, 7, 8, 13, 0, 0, 0, time.UTC)

func london(t testing.TB) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// hillfoot is the invented nursery.
func hillfoot(t testing.TB) farm.Farm {
	t.Helper()
	living := farm.Bands{Thrive: farm.Band{Low: 70, High: 83}, Survive: farm.Band{Low: 60, High: 88}}
	return farm.Farm{
		Name: "Hillfoot Nursery", Units: farm.Metric, Location: london(t),
		Probes: []farm.Probe{
			{ID: "bed-t", Measures: farm.Temperature, Every: 10 * time.Minute},
			{ID: "bed-m", Measures: farm.Moisture, Every: 10 * time.Minute},
			{ID: "bed-far-m", Measures: farm.Moisture, Every: 10 * time.Minute},
			{ID: "glass-air", Measures: farm.Temperature, Every: 10 * time.Minute},
			{ID: "trough-t", Measures: farm.Temperature, Every: 10 * time.Minute},
			{ID: "crate-m", Measures: farm.Moisture, Every: 10 * time.Minute},
			{ID: "crate-b", Measures: farm.Battery, Unit: farm.Volt, Low: 3.3, Every: time.Hour, Of: []string{"crate-m"}},
		},
		Bins: []farm.Bin{
			{
				Name: "bed", Ambient: "glass-air", VolumeL: 160,
				Species: []farm.Share{{Species: "red", Fraction: 0.5}, {Species: "blue", Fraction: 0.5}},
				Zones: []farm.Zone{
					{Name: "near", Aim: farm.Living, Probes: []string{"bed-t", "bed-m"}, Bands: map[farm.Quantity]farm.Bands{farm.Moisture: living}},
					{Name: "far", Aim: farm.Sifting, Probes: []string{"bed-far-m"}},
				},
			},
			{Name: "trough", Ambient: "glass-air", Zones: []farm.Zone{{Name: "all", Aim: farm.Living, Probes: []string{"trough-t"}}}},
			{Name: "crate", Zones: []farm.Zone{{Name: "all", Aim: farm.Keeping, Probes: []string{"crate-m"}}}},
		},
	}
}

// change is a raise of a condition in the near end of the bed, to be altered.
func change(c farm.Condition, kind farm.ChangeKind, u farm.Urgency, at time.Time) farm.Change {
	return farm.Change{
		At: at, Bin: "bed", Zone: "near", Condition: c, Change: kind, Urgency: u,
		Text: "Bed, near is " + string(c) + ".", Episode: "e-" + string(c), Since: start,
	}
}
