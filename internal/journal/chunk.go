package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
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

const chunkColumns = `first, last, rows`

func scanChunk(rows *sql.Rows) (c chunkInfo, err error) {
	return c, rows.Scan(&c.first, &c.last, &c.rows)
}

// readChunk gives the rows of a chunk, or a chunkError.
func readChunk(ctx context.Context, q querier, c chunkInfo) ([]row, error) {
	var body []byte
	err := q.QueryRowContext(ctx, `SELECT body FROM chunk_body WHERE first = ?`, c.first).Scan(&body)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, &chunkError{c, fmt.Errorf("%w: there is no body", ErrDamaged)}
	}
	if err != nil {
		return nil, err
	}
	rows, err := unpack(body)
	if err != nil {
		return nil, &chunkError{c, err}
	}
	return rows, nil
}

// writeChunk writes or overwrites the chunk of the rows.
func writeChunk(tx *tx, rows []row, body []byte) error {
	s := spanOf(rows)
	if err := tx.exec(`INSERT OR REPLACE INTO chunk (first, last, rows, readings, arrived_lo, arrived_hi, at_lo, at_hi)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?)`, rows[0].seq, rows[len(rows)-1].seq, len(rows), s.readings,
		s.arrivedLo, s.arrivedHi, s.atLo, s.atHi); err != nil {
		return err
	}
	return tx.exec(`INSERT OR REPLACE INTO chunk_body (first, body) VALUES (?, ?)`, rows[0].seq, body)
}

// span is what a chunk covers.
type span struct {
	readings             int
	arrivedLo, arrivedHi int64
	atLo, atHi           int64
}

func spanOf(rows []row) span {
	s := span{arrivedLo: rows[0].arrived, arrivedHi: rows[0].arrived, atLo: rows[0].at(), atHi: rows[0].at()}
	for _, r := range rows {
		if r.series != tickSeries {
			s.readings++
		}
		s.arrivedLo, s.arrivedHi = min(s.arrivedLo, r.arrived), max(s.arrivedHi, r.arrived)
		s.atLo, s.atHi = min(s.atLo, r.at()), max(s.atHi, r.at())
	}
	return s
}

// eachPacked calls fn for every row of the chunks that hold anything measured in
// [lo, hi), which may be rows measured outside of it too. A chunk that can't be
// read is passed over.
func (j *Journal) eachPacked(ctx context.Context, q querier, lo, hi int64, fn func(row)) error {
	chunks, err := chunksWithin(ctx, q, lo, hi)
	if err != nil {
		return err
	}
	for _, c := range chunks {
		rows, err := j.readOrPass(ctx, q, c)
		if err != nil {
			return err
		}
		for _, r := range rows {
			fn(r)
		}
	}
	return nil
}

// readOrPass gives no rows for a chunk that can't be read.
func (j *Journal) readOrPass(ctx context.Context, q querier, c chunkInfo) ([]row, error) {
	rows, err := readChunk(ctx, q, c)
	var broken *chunkError
	if errors.As(err, &broken) {
		j.noteLost(broken)
		return nil, nil
	}
	return rows, err
}

func chunksWithin(ctx context.Context, q querier, lo, hi int64) ([]chunkInfo, error) {
	rows, err := q.QueryContext(ctx, `SELECT `+chunkColumns+` FROM chunk WHERE at_hi >= ? AND at_lo < ? ORDER BY first`, lo, hi)
	return collect(rows, err, scanChunk)
}
