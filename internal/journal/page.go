package journal

import (
	"context"
	"sync"

	"binwatchd/internal/farm"
)

const (
	chunkRows = 32768 // most rows of a chunk, and so of a page
	pageRows  = 4096  // rows read at a time where they are not packed
)

// A page is a stretch of rows in journal order. Reading page by page, each in
// its own transaction, keeps memory constant and never holds up the writer,
// while a row that is packed in between is met once all the same: pages go by
// sequence number.
type page struct {
	rows []row
	last int64 // sequence number the next page comes after
	more bool  // there may be a next page
}

// packedTo is the sequence number up to which rows are packed. Rows of
// reading_0 and reading_1 up to it are leftovers, to be cleared.
func packedTo(ctx context.Context, q querier) (to int64, err error) {
	err = q.QueryRowContext(ctx, `SELECT coalesce(max(last), 0) FROM chunk`).Scan(&to)
	return to, err
}

// readPage reads the rows after a sequence number: of one chunk, or unpacked. A
// chunk that can't be read is passed over.
func (j *Journal) readPage(ctx context.Context, q querier, after int64) (page, error) {
	c, found, err := chunkAfter(ctx, q, after)
	if err != nil {
		return page{}, err
	}
	if !found {
		j.unpacked.drop()
		return unpackedPage(ctx, q, after)
	}
	rows, err := j.unpacked.rows(ctx, q, c, j.readOrPass)
	return chunkPage(rows, c, after), err
}

// lastChunk keeps the chunk that was unpacked last: whoever reads the journal in
// small portions comes back for the rest of it.
type lastChunk struct {
	mu     sync.Mutex
	info   chunkInfo
	moved  int64 // how often times had been moved when it was read
	packed []row
}

func (l *lastChunk) rows(ctx context.Context, q querier, c chunkInfo, read func(context.Context, querier, chunkInfo) ([]row, error)) ([]row, error) {
	var moved int64
	if err := q.QueryRowContext(ctx, `SELECT coalesce((SELECT value FROM meta WHERE name = 'moved'), 0)`).Scan(&moved); err != nil {
		return nil, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.info == c && l.moved == moved && l.packed != nil {
		return l.packed, nil
	}
	rows, err := read(ctx, q, c)
	if err != nil {
		return nil, err
	}
	l.info, l.moved, l.packed = c, moved, rows
	return rows, nil
}

// drop frees the memory when the packed part of the journal is behind.
func (l *lastChunk) drop() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.packed = nil
}

func chunkPage(rows []row, c chunkInfo, after int64) page {
	for len(rows) > 0 && rows[0].seq <= after {
		rows = rows[1:]
	}
	return page{rows: rows, last: c.last, more: true}
}

// chunkAfter finds the chunk that the rows after a sequence number begin in.
// Chunks do not overlap: it is the newest that begins by then, or the next.
func chunkAfter(ctx context.Context, q querier, after int64) (c chunkInfo, found bool, err error) {
	rows, err := q.QueryContext(ctx, `SELECT `+chunkColumns+` FROM chunk
		WHERE first >= coalesce((SELECT max(first) FROM chunk WHERE first <= ?1), 0) AND last > ?1 ORDER BY first LIMIT 1`, after)
	got, err := collect(rows, err, scanChunk)
	if err != nil || len(got) == 0 {
		return c, false, err
	}
	return got[0], true, nil
}

func unpackedPage(ctx context.Context, q querier, after int64) (page, error) {
	rows, err := q.QueryContext(ctx, `SELECT `+rowColumns+` FROM unpacked WHERE seq > ? ORDER BY seq LIMIT ?`, after, pageRows)
	got, err := collect(rows, err, scanRow)
	p := page{rows: got, last: after, more: len(got) == pageRows}
	if len(got) > 0 {
		p.last = got[len(got)-1].seq
	}
	return p, err
}

// eventsBetween reads the other events with after < seq <= to.
func eventsBetween(ctx context.Context, q querier, after, to int64) ([]farm.Event, error) {
	rows, err := q.QueryContext(ctx, `SELECT seq, arrived, kind, body FROM event WHERE seq > ? AND seq <= ? ORDER BY seq`, after, to)
	return collect(rows, err, scanEvent)
}
