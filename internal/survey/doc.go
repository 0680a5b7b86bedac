// Package survey looks at what a broker carries and proposes probes for it: it
// is told of messages, finds the numbers in them, puts topics together that look
// alike, and guesses what each number measures from its name, its values and
// its pace. Every guess is written down as one, for a keeper to check.
//
// It is a pure function of the messages told: no clock, no connection, no
// file, and the same messages in any order of topics give the same proposal.
// Payloads are taken apart by package ingest, so that what is proposed here is
// what a decoder will read. The command listen is its caller.
package survey
