// Package trend is the robust statistics of a watch that runs for years on a
// small machine: running medians, slopes with honest intervals, and three
// forecasts — will this zone heat past a limit, when will it be too dry, when
// can it be sifted.
//
// Everything is a pure function of its arguments, or a small value the caller
// keeps: no clock, no I/O, no goroutine, bounded memory. The values have
// exported fields only (or rebuild the rest), so a snapshot of them by gob or
// JSON is complete. A forecast says nothing when the data say nothing.
// Package rules calls it; it raises nothing by itself.
package trend
