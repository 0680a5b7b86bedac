// Package notify tells the keeper: it decides who is owed what, and takes what
// is owed to mail, push and webhook so that it arrives once, is understood on
// a phone in a shed, and does not nag.
//
// It has three parts. [Owes] and [OwedFor] are pure and are called inside the
// transaction that writes a change, so that what is owed is on disk before
// anybody hears of it. [Sender] reads the outbox, plans what each recipient
// gets in one go (planning is pure too: plan.go, hold.go) and carries it.
// The rest makes the letters: the words, the HTML, the picture.
//
// What a recipient (a teller) hears:
//
//   - a raise or a worsening whose urgency is in its about; raised anew in the
//     same episode only when it is now, or worse than what was told before;
//   - the easing of whatever it was told, and of nothing else;
//   - an episode that was over before it could be told, as one line;
//   - while something is at now, a reminder at its interval, until eased, seen
//     or hushed.
//
// Quiet hours, a hush, and the cap on letters an hour hold things back; what has
// come to now passes through all of them. Things that arise together go in one
// letter.
//
// It must not write anything but the outbox and its own cursors, judge a bin,
// or let a secret into a log, an error or a letter. Its trouble never reaches
// intake: the sender has its own goroutines and only reads. The watch calls
// Owes; cmd/binwatchd makes and runs the Sender.
package notify
