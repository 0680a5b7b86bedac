package journal

import (
	"cmp"
	"context"
	"slices"
	"sync"
)

// recent holds, in memory, the judged readings that are not packed yet: a few
// days' worth, 24 bytes each. On disk they lie in the order in which they came,
// the right order for writing and the wrong one for a curve of one zone.
type recent struct {
	mu     sync.Mutex // held while samples are gathered, so that what is packed meanwhile is met once
	moved  int64      // how often times had been moved when it was read
	packed int64      // end of what was packed then
	upto   int64      // sequence number up to which it was read
	points map[int64][]moment
}

// A moment is one value of one series.
type moment struct {
	seq, at int64
	value   float64
}

// A pulse is all that has to be known of the file before samples can be
// gathered from it, in one question.
type pulse struct {
	packed   int64 // end of what is packed
	unpacked int64 // end of what is not
	moved    int64 // how often times have been moved
	dropped  int64 // arrival up to which raw readings are gone, ms
	series   int   // how many there are
}

func readPulse(ctx context.Context, q querier) (p pulse, err error) {
	err = q.QueryRowContext(ctx, `SELECT coalesce((SELECT max(last) FROM chunk), 0),
		max(coalesce((SELECT max(seq) FROM reading_0), 0), coalesce((SELECT max(seq) FROM reading_1), 0)),
		coalesce((SELECT value FROM meta WHERE name = 'moved'), 0),
		coalesce((SELECT value FROM meta WHERE name = 'dropped'), 0),
		coalesce((SELECT max(id) FROM series), 0)`).Scan(&p.packed, &p.unpacked, &p.moved, &p.dropped, &p.series)
	return p, err
}

// refresh brings it up to the state of the file that q sees. The caller holds
// mu and took it before q's transaction began.
func (r *recent) refresh(ctx context.Context, q querier, p pulse) error {
	if r.points == nil || p.moved != r.moved {
		r.points, r.upto, r.moved = map[int64][]moment{}, 0, p.moved
	}
	if r.packed != p.packed {
		r.forget(p.packed)
		r.packed = p.packed
	}
	after := max(p.packed, r.upto)
	if p.unpacked <= after {
		return nil
	}
	return r.readOn(ctx, q, after)
}

// reset is for a new file.
func (r *recent) reset() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.points = nil
}

// forget drops what has been packed.
func (r *recent) forget(packed int64) {
	for id, points := range r.points {
		n, _ := slices.BinarySearchFunc(points, packed+1, func(m moment, seq int64) int { return cmp.Compare(m.seq, seq) })
		if n > 0 {
			r.points[id] = slices.Clone(points[n:])
		}
	}
}

func (r *recent) readOn(ctx context.Context, q querier, after int64) error {
	rows, err := q.QueryContext(ctx, `SELECT `+rowColumns+` FROM unpacked WHERE seq > ? ORDER BY seq`, after)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		row, err := scanRow(rows)
		if err != nil {
			return err
		}
		r.upto = row.seq
		if row.judged() {
			r.points[row.series] = append(r.points[row.series], moment{row.seq, row.at(), row.value})
		}
	}
	return rows.Err()
}
