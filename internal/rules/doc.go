// Package rules judges the farm: a pure fold from events to changes.
//
//	changes := state.Step(event)
//
// An event is a reading, a jot, a hush, a seen, a tick or a word about the
// machinery, and carries its own time. Nothing here reads a clock, does I/O,
// starts a goroutine or depends on the order of a map: the same events always
// give the same changes, so the live daemon, a restart, a rehearsal, the demo
// and the tests all run this one function over journal order.
//
// What is judged is a zone's level, the running median of its believed
// readings; what comes out are the steps in the life of a condition: raised,
// worsened, lightened, eased. The science behind a verdict is in packages
// husbandry and trend; this package decides when to speak and what to say.
package rules
