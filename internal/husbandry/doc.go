// Package husbandry is what is known of worms and castings: bands and activity
// of each species, water and bedding doses, how food is eaten and cocoons hatch.
//
// Everything here is a pure function of its arguments: no clock, no I/O, no
// state that outlives a call, but for the small learners the caller keeps.
// It raises nothing and writes no text for the keeper; package rules does.
// Each figure carries its source. Where a figure is a choice or common
// practice without a published source, its comment says so.
//
// In reading order: species.go (the table of species), limits.go (the worms of a
// bin, and what they bear together), activity.go (how busy they are, how cocoons
// hatch), feed.go (kinds of food, how they are eaten, the next feed), drymass.go
// (a zone's dry matter, learned from waterings), water.go (doses of water and
// bedding, and how they are given).
package husbandry
