// Package demo is the invented Hillfoot Nursery: a simulated farm whose probes
// speak like real ones, for showing the program with no hardware at hand.
//
// The nursery has a glasshouse bed with a sifting end, a potting-shed stack of
// trays, a propagation cabinet with African worms, an outdoor trough with
// European ones, a crate and a barrel of stored castings, and a keeper who
// walks round every seventh morning. Its season always stands at late spring,
// whatever the calendar says; a cold snap, a failed heater and a heat wave
// come round every thirty days (see story.go), so that thirty days of history
// hold each of them once.
//
// A [Sim] is pure: seed and start decide everything it will ever say, to the
// byte. It knows nothing of how readings are judged and must not import the
// packages that judge them. [Sim.Play] and [Radio] are the one edge to a real
// broker. Who calls it: cmd/binwatchd, and tests that want plausible messages.
package demo
