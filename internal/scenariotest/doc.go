// Package scenariotest makes simulated bins with known ends, against which the
// rules are held: how many real heatings, dryings and sifting windows are told
// in time, how often a quiet bin cries out, how honest the intervals are.
//
// A [Case] says which bin in which room with which probes; [Case.Run] lives it
// through with the physics of package physics, which is not the model that the
// program fits; the [Run] gives what the probes said and, beside it, what was
// true. Everything follows from the case and its seed.
//
// It judges nothing and must not import what it is used to test. Who calls it:
// the rules' acceptance tests and the bench.
package scenariotest
