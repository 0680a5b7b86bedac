// Package farm holds the nouns of a worm farm: bins, zones, probes, readings,
// jots, conditions and changes, and the words and numbers people read.
//
// It is the leaf of the import graph: every other package may import farm and
// farm imports nothing of the project. It does no I/O, reads no clock and
// keeps no state. Inside the program every temperature is in °C, every
// moisture is water as a percentage of fresh mass (wet basis), masses are in
// kg and volumes in L; what a person reads is turned into their own units at
// the edge by [Units].
package farm
