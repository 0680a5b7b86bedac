// Package page is the keeper's page for the phone in the shed: how every bin
// stands, what to do on today's round, the logbook, the probes, and the same
// as JSON. Pages come ready from the server and work without scripts; a small
// script reads values off a curve and refreshes what has changed.
//
// It reads the farm through functions handed to it and writes only by handing
// events to Act: it judges nothing, stores nothing but sessions, and never
// opens a listener. Whether the address is fit for it is for [Check] to say,
// TLS is the caller's. No request can make it fetch anything from elsewhere,
// and nothing a stranger sends is shown but as text. cmd wires it; its
// pictures are package draw's, its login package auth's.
package page
