// Package husbandry is what is known of worms, castings and the probes that
// stand in them: bands and activity of each species, water and bedding doses,
// how food is eaten and cocoons hatch, how heat leaves a bin, and how a
// probe's electrical signal becomes a temperature or a moisture.
//
// Everything here is a pure function of its arguments: no clock, no I/O, no
// state that outlives a call, but for the small learners the caller keeps.
// It raises nothing and writes no text for the keeper; package rules does.
// Each figure carries its source. Where a figure is a choice or common
// practice without a published source, its comment says so.
package husbandry
