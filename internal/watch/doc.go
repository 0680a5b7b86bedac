// Package watch runs the one live loop of the daemon: it takes deliveries from
// the broker, has ingest make readings of them and rules judge them, commits
// readings, changes and owed notices to the journal in one transaction, and
// only then acknowledges.
//
//	delivery → decode → doubt → rules.Step → commit → acknowledge
//
// One goroutine owns all of it; everybody else asks it through [Loop.Look],
// [Loop.Act] and [Loop.Reload]. A failed commit acknowledges nothing: the
// state in memory is thrown away and rebuilt from the journal, and the broker
// is made to send again. What downstream does never stalls the loop, because
// downstream only reads the journal.
package watch
