// Package journal is the one store of binwatchd and its one source of truth:
// every reading, jot and other event in the order in which it came, the changes
// that followed, the notices that are owed, the rules' snapshots and the folded
// history, in one SQLite file.
//
// # Strategy
//
// One transaction writes a batch of events together with everything that
// follows from them, and only when it is on disk (write-ahead log, synced at
// every commit) may the batch be acknowledged to the broker. Readings are only
// ever appended, by rising sequence number, so that a commit of a dozen readings
// dirties one page of the card. Later, in bulk, [Journal.Fold] packs them into
// compressed columns and adds them to an hourly and daily history; a fold is one
// transaction as well, so a reading is always in exactly one place.
//
// A commit that fails leaves nothing behind: the sequence does not move, and the
// caller has to take its own state back to the last snapshot and replay.
//
// # What it must not do
//
// It judges nothing, decodes no payload and reads no clock but the Now it is
// given. It never deletes a damaged file: it sets it aside.
//
// The live loop (watch) is the only caller that appends; notify, influx, page,
// meter and the commands read, and settle what they have delivered.
package journal
