package journal

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"os"
	"path/filepath"
)

// The log's form is SQLite's, "Database File Format", section 4.1: a header of 32
// bytes, then frames of 24 bytes and a page each. Those of one time of use bear
// the salts of the header; their check sums run through from the first to the
// last. A frame that ends a transaction says how large the file is after it.
const (
	logHeader   = 32
	frameHeader = 24
	logMagic    = 0x377f0682 // check sums over little-endian words; one more: big-endian
)

// A torn log is one whose end does not belong to a whole transaction, as a
// process leaves it that was killed while it wrote, or a card that lost what it
// said was written. SQLite goes on from the last whole transaction.
type torn struct {
	frames  int // after the last whole transaction, of the same time of use
	commits int // of these, how many ended a transaction: it was reported as being on disk
}

// readLog looks for a torn end in the log beside a journal that nobody has open.
func readLog(path string) torn {
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real // beside it SQLite keeps its log
	}
	log, err := os.ReadFile(path + "-wal")
	if err != nil || len(log) == 0 {
		return torn{}
	}
	whole, t := readFrames(log)
	if shm, err := os.ReadFile(path + "-shm"); err == nil && len(shm) >= indexHead && len(log) >= logHeader {
		// The index of a process that was killed still tells what it had
		// written; after a power cut it tells of an earlier time, or of less.
		if h := readIndex(shm); bytes.Equal(h.salts[:], log[16:24]) && h.frames > whole {
			t.frames, t.commits = max(t.frames, h.frames-whole), max(t.commits, 1)
		}
	}
	return t
}

// readFrames counts the frames up to the end of the last whole transaction, and
// what comes after it. A header that is not whole counts as one frame.
func readFrames(log []byte) (whole int, t torn) {
	if len(log) < logHeader {
		return 0, torn{frames: 1}
	}
	be, order := binary.BigEndian, binary.ByteOrder(binary.LittleEndian)
	magic, size := be.Uint32(log), int(be.Uint32(log[8:]))
	if magic&1 != 0 {
		order = be
	}
	a, b := sum(order, 0, 0, log[:24])
	if magic&^1 != logMagic || a != be.Uint32(log[24:]) || b != be.Uint32(log[28:]) {
		return 0, torn{frames: 1}
	}
	sound := true
	for i := 0; ; i++ {
		at := logHeader + i*(frameHeader+size)
		if at+frameHeader > len(log) || !bytes.Equal(log[at+8:at+16], log[16:24]) {
			return whole, t
		}
		f := log[at:min(at+frameHeader+size, len(log))]
		a, b = sum(order, a, b, f[:8])
		a, b = sum(order, a, b, f[frameHeader:])
		sound = sound && len(f) == frameHeader+size && a == be.Uint32(f[16:]) && b == be.Uint32(f[20:])
		commit := be.Uint32(f[4:]) != 0
		if sound && commit {
			whole, t = i+1, torn{}
			continue
		}
		t.frames++
		if commit {
			t.commits++
		}
	}
}

// sum goes on with the check sum of a log over more bytes, a multiple of eight.
func sum(order binary.ByteOrder, a, b uint32, more []byte) (uint32, uint32) {
	for ; len(more) >= 8; more = more[8:] {
		a += order.Uint32(more) + b
		b += order.Uint32(more[4:]) + a
	}
	return a, b
}

// indexHead is how much of the log's index, which SQLite shares between
// processes, is read: its header, and behind the second copy of that how much of
// the log is in the file already ("WAL-index format", section 2.1, in the
// machine's own byte order).
const indexHead = 100

// An index is what the header of a log's index says.
type index struct {
	frames int // whole ones in the log
	filed  int // of these, how many stand in the file already
	size   int // of a page
	salts  [8]byte
}

func readIndex(b []byte) index {
	n := binary.NativeEndian
	h := index{frames: int(n.Uint32(b[16:])), filed: int(n.Uint32(b[96:])), size: int(n.Uint16(b[14:]))}
	if h.size == 1 {
		h.size = 1 << 16
	}
	copy(h.salts[:], b[32:40])
	return h
}

// logHolds gives how long the log has to be by its index, in bytes. What stands
// in the file already may be cut off: a checkpoint does that.
func logHolds(f *os.File) int64 {
	b := make([]byte, indexHead)
	if _, err := f.ReadAt(b, 0); err != nil && !errors.Is(err, io.EOF) {
		return 0
	}
	h := readIndex(b)
	if h.size == 0 || h.frames <= h.filed {
		return 0
	}
	return logHeader + int64(h.frames)*int64(frameHeader+h.size)
}

// reportTornLog says that the log's end was torn, which SQLite itself passes over
// without a word.
func (j *Journal) reportTornLog() {
	t := readLog(j.cfg.Path)
	switch {
	case t.commits > 0:
		j.log.Error("the end of the journal's log is torn and was dropped: readings that were acknowledged "+
			"may be missing; see whether the card is worn out",
			"path", j.cfg.Path+"-wal", "frames", t.frames, "commits", t.commits)
	case t.frames > 0:
		j.log.Warn("the end of the journal's log is a write that was never finished; it was dropped, "+
			"and nothing of it had been acknowledged",
			"path", j.cfg.Path+"-wal", "frames", t.frames)
	}
	j.check.set(func(h *Health) { h.Torn = t.frames })
}
