package chart

import "binwatchd/internal/farm"

// Levels are the figures of an upright axis.
func Levels(low, high float64, u farm.Written) []string {
	f := frame{Chart: Chart{Unit: u}, scale: scale{u.In.Inner(low), u.In.Inner(high)}}
	var names []string
	for _, t := range f.levels() {
		names = append(names, t.name)
	}
	return names
}
