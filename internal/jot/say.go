package jot

import (
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
)

// Said says a line in full, as it is written down: "Bed, near fed 2 kg of grain,
// Thu 7 May, 12:00".
func Said(f *farm.Farm, j farm.Jot) string {
	s := f.SayPlace(j.Bin, j.Zone) + " " + j.Said(quantity.FormatMass, quantity.FormatVolume)
	if j.Bin == "" {
		s = j.Said(quantity.FormatMass, quantity.FormatVolume)
	}
	if j.At.IsZero() {
		return s
	}
	d := f.Dates()
	d.Location = local(f, j.At).Location()
	return s + ", " + d.Stamp(j.At)
}

// Says says every line of a reading in full.
func (r Reading) Says(f *farm.Farm) (all []string) {
	for _, j := range r.Jots {
		all = append(all, Said(f, j))
	}
	return all
}

// local is a time in the farm's zone.
func local(f *farm.Farm, at time.Time) time.Time {
	if f.Location == nil {
		return at
	}
	return at.In(f.Location)
}
