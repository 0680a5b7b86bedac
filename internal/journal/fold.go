package journal

import (
	"context"
	"database/sql"
	"time"

	"binwatchd/internal/farm"
)

const (
	rawStays  = 48 * time.Hour     // readings stay unpacked at least so long
	turnAfter = 7 * 24 * time.Hour // and a table is appended to at most so long, however few they are
)

// Folded is what one Fold has done.
type Folded struct {
	Rows    int64 // readings and ticks packed
	Chunks  int   // that they went into
	Dropped int64 // packed readings that were past Keep
	Renewed int   // chunks of an older version that were packed anew
}

// Fold packs what is old enough, adds it to the hourly and daily history, and
// drops packed readings older than Keep and the outbox's and the log's old
// lines. It does nothing most times it is called; once an hour is right. Intake
// goes on beside it, but for the moment of each commit. Now has to be a clock
// that is believed: what lies ahead of it would be kept unpacked, and a clock
// far ahead would drop what should be kept.
func (j *Journal) Fold(ctx context.Context, now time.Time) (Folded, error) {
	return j.fold(ctx, now, j.drop)
}

// Pack is Fold without dropping anything: for a clock that may be far ahead.
func (j *Journal) Pack(ctx context.Context, now time.Time) (Folded, error) {
	return j.fold(ctx, now)
}

func (j *Journal) fold(ctx context.Context, now time.Time, more ...func(context.Context, time.Time, *Folded) error) (done Folded, err error) {
	j.folding.Lock()
	err = j.pack(ctx, now, &done)
	for _, step := range more {
		if err == nil {
			err = step(ctx, now, &done)
		}
	}
	j.folding.Unlock()
	if err != nil {
		return done, err
	}
	return done, j.repack(ctx, &done)
}

func (j *Journal) pack(ctx context.Context, now time.Time, done *Folded) error {
	if err := j.fault("fold"); err != nil {
		return err
	}
	if err := j.packOld(ctx, now, done); err != nil {
		return err
	}
	return j.turn(ctx, now)
}

// tables is how the two tables of unpacked rows stand.
type tables struct {
	old, current int // which is which
	oldRows      bool
	oldNewest    int64 // arrival of the last row of the old table, ms
	rows         int64 // of the current table
	oldest       int64 // arrival of its first row, ms
}

func (j *Journal) tables(ctx context.Context) (t tables, err error) {
	err = j.view(ctx, "fold", func(q *sql.Tx) error {
		if err := q.QueryRowContext(ctx, `SELECT coalesce((SELECT value FROM meta WHERE name = 'table'), 0)`).Scan(&t.current); err != nil {
			return err
		}
		t.old = 1 - t.current
		// SQLite finds one minimum or maximum without reading the table, two in
		// one question only by reading all of it.
		var newest, oldest, first, last sql.NullInt64
		old, current := tableName[t.old], tableName[t.current]
		err := q.QueryRowContext(ctx, `SELECT (SELECT arrived FROM `+old+` ORDER BY seq DESC LIMIT 1),
			(SELECT arrived FROM `+current+` ORDER BY seq LIMIT 1),
			(SELECT min(seq) FROM `+current+`), (SELECT max(seq) FROM `+current+`)`).Scan(&newest, &oldest, &first, &last)
		if err != nil {
			return err
		}
		t.oldRows, t.oldNewest = newest.Valid, newest.Int64
		if first.Valid {
			t.rows, t.oldest = last.Int64-first.Int64+1, oldest.Int64
		}
		return nil
	})
	return t, err
}

var tableName = [2]string{"reading_0", "reading_1"}

// packOld packs the old table if all of it is old enough. When a clock far ahead
// has stamped its last row, the age of the rows after it decides.
func (j *Journal) packOld(ctx context.Context, now time.Time, done *Folded) error {
	t, err := j.tables(ctx)
	if err != nil || !t.oldRows {
		return err
	}
	newest := t.oldNewest
	if t.rows > 0 {
		newest = min(newest, t.oldest)
	}
	if newest > now.Add(-rawStays).UnixMilli() && t.rows < 4*chunkRows {
		return nil
	}
	for {
		more, err := j.packNext(ctx, tableName[t.old], done)
		if err != nil {
			return err
		}
		if !more {
			return j.clear(ctx, tableName[t.old])
		}
	}
}

// packNext packs the next rows of a table into one chunk. The rows stay where
// they are until the table is cleared, but no reader minds them any more: what
// is up to the end of the last chunk is read from the chunks.
func (j *Journal) packNext(ctx context.Context, table string, done *Folded) (more bool, err error) {
	var rows []row
	var all []series
	err = j.view(ctx, "fold", func(t *sql.Tx) error {
		after, err := packedTo(ctx, t)
		if err != nil {
			return err
		}
		if all, err = j.series.load(ctx, t); err != nil {
			return err
		}
		found, err := t.QueryContext(ctx, `SELECT `+rowColumns+` FROM `+table+` WHERE seq > ? ORDER BY seq LIMIT ?`, after, chunkRows)
		rows, err = collect(found, err, scanRow)
		return err
	})
	if err != nil || len(rows) == 0 {
		return false, err
	}
	days := folds{}
	for _, r := range rows {
		days.add(r, all)
	}
	body, err := pack(rows)
	if err != nil {
		return false, err
	}
	err = j.update(ctx, "fold", func(tx *tx) error {
		if err := writeChunk(tx, rows, body); err != nil {
			return err
		}
		return days.mergeInto(tx)
	})
	if err != nil {
		return false, err
	}
	done.Rows += int64(len(rows))
	done.Chunks++
	return true, nil
}

// clear empties a table whose rows are all packed. Without a WHERE, SQLite
// frees its pages unread and unwritten.
func (j *Journal) clear(ctx context.Context, table string) error {
	return j.update(ctx, "fold", func(tx *tx) error { return tx.exec(`DELETE FROM ` + table) })
}

// turn begins to append to the other table when it is free and the current one
// holds a chunk's worth, or has begun long ago.
func (j *Journal) turn(ctx context.Context, now time.Time) error {
	t, err := j.tables(ctx)
	if err != nil || t.oldRows || t.rows == 0 {
		return err
	}
	if t.rows < chunkRows && t.oldest > now.Add(-turnAfter).UnixMilli() {
		return nil
	}
	return j.update(ctx, "fold", func(tx *tx) error {
		tx.head.table = t.old
		return tx.exec(`INSERT OR REPLACE INTO meta (name, value) VALUES ('table', ?)`, t.old)
	})
}

// drop removes what Keep no longer asks for, from the start of the journal on.
// The newest chunk always stays, because it holds the place of the sequence.
func (j *Journal) drop(ctx context.Context, now time.Time, done *Folded) error {
	if j.cfg.Keep <= 0 {
		return nil
	}
	horizon := now.Add(-j.cfg.Keep).UnixMilli()
	var firsts []int64
	var readings int64
	err := j.view(ctx, "fold", func(t *sql.Tx) error {
		rows, err := t.QueryContext(ctx, `SELECT first, readings FROM chunk
			WHERE first < coalesce((SELECT min(first) FROM chunk WHERE arrived_hi >= ?), (SELECT max(first) FROM chunk)) ORDER BY first`, horizon)
		firsts, err = collect(rows, err, func(rows *sql.Rows) (first int64, err error) {
			var n int64
			err = rows.Scan(&first, &n)
			readings += n
			return first, err
		})
		return err
	})
	if err != nil || len(firsts) == 0 {
		return err
	}
	if err := j.update(ctx, "fold", func(tx *tx) error { return dropTx(tx, firsts, horizon) }); err != nil {
		return err
	}
	done.Dropped += readings
	return nil
}

func dropTx(tx *tx, firsts []int64, horizon int64) error {
	if err := tx.exec(`INSERT OR REPLACE INTO meta (name, value)
		SELECT 'dropped', max(arrived_hi) FROM chunk WHERE first <= ?`, firsts[len(firsts)-1]); err != nil {
		return err
	}
	for _, first := range firsts {
		if err := tx.exec(`DELETE FROM chunk WHERE first = ?`, first); err != nil {
			return err
		}
		if err := tx.exec(`DELETE FROM chunk_body WHERE first = ?`, first); err != nil {
			return err
		}
	}
	if err := tx.exec(`DELETE FROM event WHERE arrived < ? AND kind IN (?, ?, ?, ?, ?)`, horizon,
		int64(farm.EventLink), int64(farm.EventCaught), int64(farm.EventTrouble), int64(farm.EventHush), int64(farm.EventSeen)); err != nil {
		return err
	}
	return tx.exec(`DELETE FROM owed WHERE settled < ?`, horizon)
}
