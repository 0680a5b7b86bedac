// Package ingest turns what arrives over MQTT into trusted readings: a
// [Source] or a [Listener] hears deliveries, a [Decoder] finds the probes'
// numbers in them and puts them into inner units, [Arrivals] tells which times
// can't be trusted, and a [Doubter] says which readings are not to be
// believed, and why.
//
// Nothing else in the program parses payloads. The package keeps nothing on
// disk and judges no bin; it acknowledges a message only when its caller says
// so, because only the caller knows when the reading is safe. Decoder,
// Arrivals and Doubter read no clock: the same deliveries always make the same
// readings, live and replayed. The live loop and the rehearsal are its
// callers.
package ingest
