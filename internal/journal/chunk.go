package journal

import (
	"database/sql"
	"errors"
	"fmt"
	"sync"
)

const (
	chunkRows = 32768 // most rows of a chunk, and so of a page
	pageRows  = 4096  // rows read at a time where they are not packed
)

// A chunkInfo is what is known of a chunk without unpacking it.
type chunkInfo struct{ first, last, rows int64 }

// A chunkError is about one chunk whose body can't be read. The rest of the
// journal is none the worse for it.
type chunkError struct {
	chunkInfo
	err error
}

func (e *chunkError) Error() string {
	return fmt.Sprintf("packed readings %d to %d: %v", e.first, e.last, e.err)
}

func (e *chunkError) Unwrap() error { return e.err }

// chunks gives the chunks that meet a condition and come in an order, both in SQL.
func chunks(t *tx, where string, args ...any) []chunkInfo {
	scan := func(c *chunkInfo, rows *sql.Rows) error { return rows.Scan(&c.first, &c.last, &c.rows) }
	return collect(t, scan, `SELECT first, last, rows FROM chunk WHERE `+where, args...)
}

// chunksWithin gives the chunks that hold anything measured in [lo, hi).
func chunksWithin(t *tx, lo, hi int64) []chunkInfo {
	return chunks(t, `at_hi >= ? AND at_lo < ? ORDER BY first`, lo, hi)
}

// packedTo asks for the sequence number up to which rows are packed. Rows of
// reading_0 and reading_1 up to it are leftovers, to be cleared.
const packedTo = `SELECT max(last) FROM chunk`

// timesMoved asks how often stretches have been moved in time.
const timesMoved = `SELECT value FROM meta WHERE name = 'moved'`

// readChunk gives the rows of a chunk; what it fails with is a chunkError when only
// this chunk can't be read.
func readChunk(t *tx, c chunkInfo) []row {
	var body []byte
	if !t.get(into(&body), `SELECT body FROM chunk_body WHERE first = ?`, c.first) {
		t.fail(&chunkError{c, fmt.Errorf("%w: there is no body", ErrDamaged)})
		return nil
	}
	rows, err := unpack(body)
	if err != nil {
		t.fail(&chunkError{c, err})
	}
	return rows
}

// writeChunk writes or overwrites the chunk of the rows, which are packed already.
func writeChunk(t *tx, rows []row, body []byte) {
	first := rows[0]
	readings, arrivedLo, arrivedHi, atLo, atHi := 0, first.arrived, first.arrived, first.at(), first.at()
	for _, r := range rows {
		if r.series != tickSeries {
			readings++
		}
		arrivedLo, arrivedHi = min(arrivedLo, r.arrived), max(arrivedHi, r.arrived)
		atLo, atHi = min(atLo, r.at()), max(atHi, r.at())
	}
	t.exec(`INSERT OR REPLACE INTO chunk (first, last, rows, readings, arrived_lo, arrived_hi, at_lo, at_hi)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?)`, first.seq, rows[len(rows)-1].seq, len(rows), readings, arrivedLo, arrivedHi, atLo, atHi)
	t.exec(`INSERT OR REPLACE INTO chunk_body (first, body) VALUES (?, ?)`, first.seq, body)
}

// readOrPass gives no rows for a chunk that can't be read.
func (j *Journal) readOrPass(t *tx, c chunkInfo) []row {
	if t.err != nil {
		return nil
	}
	rows := readChunk(t, c)
	var broken *chunkError
	if errors.As(t.err, &broken) {
		j.noteLost(broken)
		t.err, rows = nil, nil
	}
	return rows
}

// A page is a stretch of rows in journal order. Reading page by page, each in
// its own transaction, keeps memory constant and never holds up the writer,
// while a row that is packed in between is met once all the same: pages go by
// sequence number.
type page struct {
	rows []row
	last int64 // sequence number the next page comes after
	more bool  // there may be a next page
}

// readPage reads the rows after a sequence number: of one chunk, or unpacked. A
// chunk that can't be read is passed over.
func (j *Journal) readPage(t *tx, after int64) page {
	// Chunks do not overlap: it is the newest that begins by then, or the next.
	found := chunks(t, `first >= coalesce((SELECT max(first) FROM chunk WHERE first <= ?1), 0) AND last > ?1
		ORDER BY first LIMIT 1`, after)
	if len(found) == 0 {
		j.lastChunk.drop()
		return unpackedPage(t, after)
	}
	rows := j.lastChunk.rows(t, found[0], j.readOrPass)
	for len(rows) > 0 && rows[0].seq <= after {
		rows = rows[1:]
	}
	return page{rows: rows, last: found[0].last, more: true}
}

func unpackedPage(t *tx, after int64) page {
	rows := collect(t, scanRow, `SELECT `+rowColumns+` FROM unpacked WHERE seq > ? ORDER BY seq LIMIT ?`, after, pageRows)
	p := page{rows: rows, last: after, more: len(rows) == pageRows}
	if len(rows) > 0 {
		p.last = rows[len(rows)-1].seq
	}
	return p
}

// lastChunk keeps the chunk that was unpacked last: whoever reads the journal in
// small portions comes back for the rest of it.
type lastChunk struct {
	mu    sync.Mutex
	info  chunkInfo
	moved int64 // how often times had been moved when it was read
	kept  []row
}

func (l *lastChunk) rows(t *tx, c chunkInfo, read func(*tx, chunkInfo) []row) []row {
	moved := t.number(timesMoved)
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.info == c && l.moved == moved && l.kept != nil {
		return l.kept
	}
	rows := read(t, c)
	if t.err == nil {
		l.info, l.moved, l.kept = c, moved, rows
	}
	return rows
}

// drop frees the memory when the packed part of the journal is behind.
func (l *lastChunk) drop() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.kept = nil
}
