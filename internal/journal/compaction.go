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

	// repackAtOnce is how many older chunks one compaction packs anew: a year of two
	// hundred probes takes a day of hourly ones, and none of them a minute.
	repackAtOnce = 16
)

// Compacted is what one compaction has done.
type Compacted struct {
	Rows     int64 // readings and ticks packed
	Chunks   int   // that they went into
	Dropped  int64 // packed readings that were past Keep
	Repacked int   // chunks of an older version that were packed anew
}

// Compact packs what is old enough, adds it to the hourly and daily history, and
// drops packed readings older than Keep and the outbox's and the log's old
// lines. It does nothing most times it is called; once an hour is right. Intake
// goes on beside it, but for the moment of each commit. Where now is a clock that
// is not believed, nothing is dropped: one far ahead would drop what should be
// kept. What lies ahead of the clock stays unpacked.
func (j *Journal) Compact(ctx context.Context, now time.Time, believed bool) (done Compacted, err error) {
	if err := j.packAndDrop(ctx, now, believed, &done); err != nil {
		return done, err
	}
	for range repackAtOnce {
		more, err := j.repackNext(ctx)
		if err != nil || !more {
			return done, err
		}
		done.Repacked++
	}
	return done, nil
}

func (j *Journal) packAndDrop(ctx context.Context, now time.Time, believed bool, done *Compacted) error {
	j.compacting.Lock()
	defer j.compacting.Unlock()
	if err := j.cfg.Fault("compact"); err != nil {
		return err
	}
	t, err := viewed(ctx, j, "compact", readTables)
	if err == nil && t.isOld(now) {
		err = j.packOld(ctx, t.old, done)
		t.oldNewest.Valid = false
	}
	if err == nil && t.isFull(now) {
		err = j.turn(ctx, t.old)
	}
	if err == nil && believed {
		err = j.drop(ctx, now, done)
	}
	return err
}

// tables is how the two tables of unpacked rows stand.
type tables struct {
	old, current int           // which is which
	oldNewest    sql.NullInt64 // arrival of the last row of the old table, ms; NULL: it is empty
	rows         int64         // of the current table
	oldest       int64         // arrival of its first row, ms
}

func readTables(t *tx) (s tables) {
	s.current = int(t.number(`SELECT value FROM meta WHERE name = 'table'`))
	s.old = 1 - s.current
	// SQLite finds one minimum or maximum without reading the table, two in
	// one question only by reading all of it.
	old, current := tableName[s.old], tableName[s.current]
	t.get(into(&s.oldNewest, &s.oldest, &s.rows), `SELECT (SELECT arrived FROM `+old+` ORDER BY seq DESC LIMIT 1),
		coalesce((SELECT arrived FROM `+current+` ORDER BY seq LIMIT 1), 0),
		coalesce((SELECT max(seq) FROM `+current+`) - (SELECT min(seq) FROM `+current+`) + 1, 0)`)
	return s
}

var tableName = [2]string{"reading_0", "reading_1"}

// isOld tells whether all of the old table is old enough to be packed. When a clock
// far ahead has stamped its last row, the age of the rows after it decides.
func (t tables) isOld(now time.Time) bool {
	newest := t.oldNewest.Int64
	if t.rows > 0 {
		newest = min(newest, t.oldest)
	}
	return t.oldNewest.Valid && (newest <= now.Add(-rawStays).UnixMilli() || t.rows >= 4*chunkRows)
}

// isFull tells whether the current table holds a chunk's worth, or has begun long
// ago, and the other one is free.
func (t tables) isFull(now time.Time) bool {
	return !t.oldNewest.Valid && t.rows > 0 && (t.rows >= chunkRows || t.oldest <= now.Add(-turnAfter).UnixMilli())
}

// packOld packs a table and clears it.
func (j *Journal) packOld(ctx context.Context, old int, done *Compacted) error {
	for more := true; more; {
		var err error
		if more, err = j.packNext(ctx, tableName[old], done); err != nil {
			return err
		}
	}
	// Without a WHERE, SQLite frees the table's pages unread and unwritten.
	return j.update(ctx, "compact", func(tx *tx) { tx.exec(`DELETE FROM ` + tableName[old]) })
}

// packNext packs the next rows of a table into one chunk. The rows stay where
// they are until the table is cleared, but no reader minds them any more: what
// is up to the end of the last chunk is read from the chunks.
func (j *Journal) packNext(ctx context.Context, table string, done *Compacted) (more bool, err error) {
	var rows []row
	var all []series
	err = j.view(ctx, "compact", func(t *tx) {
		all = j.loadSeries(t)
		rows = collect(t, scanRow, `SELECT `+rowColumns+` FROM `+table+` WHERE seq > ? ORDER BY seq LIMIT ?`,
			t.number(packedTo), chunkRows)
	})
	if err != nil || len(rows) == 0 {
		return false, err
	}
	history := days{}
	for _, r := range rows {
		history.add(r, all)
	}
	body, err := pack(rows)
	if err != nil {
		return false, err
	}
	err = j.update(ctx, "compact", func(t *tx) {
		writeChunk(t, rows, body)
		history.merge(t)
	})
	if err == nil {
		done.Rows += int64(len(rows))
		done.Chunks++
	}
	return err == nil, err
}

// turn begins to append to a table that is free.
func (j *Journal) turn(ctx context.Context, free int) error {
	return j.update(ctx, "compact", func(t *tx) {
		t.head.table = free
		t.setMeta("table", free)
	})
}

// drop removes what Keep no longer asks for, from the start of the journal on.
// The newest chunk always stays, because it holds the place of the sequence.
func (j *Journal) drop(ctx context.Context, now time.Time, done *Compacted) error {
	if j.cfg.Keep <= 0 {
		return nil
	}
	horizon := now.Add(-j.cfg.Keep).UnixMilli()
	var first, readings int64 // of what stays, of what goes
	err := j.view(ctx, "compact", func(t *tx) {
		first = t.number(`SELECT coalesce((SELECT min(first) FROM chunk WHERE arrived_hi >= ?),
			(SELECT max(first) FROM chunk))`, horizon)
		readings = t.number(`SELECT coalesce(sum(readings), -1) FROM chunk WHERE first < ?`, first)
	})
	if err != nil || readings < 0 {
		return err
	}
	err = j.update(ctx, "compact", func(t *tx) { dropBefore(t, first, horizon) })
	if err == nil {
		done.Dropped += readings
	}
	return err
}

// dropBefore removes the chunks before a first one that stays, and other lines that
// arrived before the horizon.
func dropBefore(t *tx, first, horizon int64) {
	t.setMeta("dropped", t.number(`SELECT max(arrived_hi) FROM chunk WHERE first < ?`, first))
	t.exec(`DELETE FROM chunk WHERE first < ?`, first)
	t.exec(`DELETE FROM chunk_body WHERE first < ?`, first)
	t.exec(`DELETE FROM event WHERE arrived < ? AND kind IN (?, ?, ?, ?, ?, ?, ?)`, horizon,
		int64(farm.EventLink), int64(farm.EventCaught), int64(farm.EventTrouble), int64(farm.EventHush), int64(farm.EventSeen), int64(farm.EventWeather),
		int64(farm.EventAlive))
	t.exec(`DELETE FROM owed WHERE settled < ?`, horizon)
}

// repackNext packs one chunk anew that an older version wrote. The table repack,
// which a migration made, lists them. Each takes a transaction of its own, in which
// its body is replaced and its line in the list goes: whenever it is interrupted, a
// chunk has been packed anew or has not, and reads alike both ways. The room that
// the old body leaves takes the next new one. A chunk that can't be read stays as it
// is. The lock against a change of its times is held for that chunk alone, so that
// intake never waits for more.
func (j *Journal) repackNext(ctx context.Context) (more bool, err error) {
	j.compacting.Lock()
	defer j.compacting.Unlock()
	var c chunkInfo
	var rows []row
	err = j.view(ctx, "repack", func(t *tx) {
		more = t.get(into(&c.first, &c.last, &c.rows), `SELECT r.first, coalesce(c.last, 0), coalesce(c.rows, 0)
			FROM repack r LEFT JOIN chunk c ON c.first = r.first ORDER BY r.first LIMIT 1`)
		if c.rows > 0 { // not dropped since
			rows = j.readOrPass(t, c)
		}
	})
	if err != nil || !more {
		return false, err
	}
	body, err := pack(rows)
	if err != nil {
		return false, err
	}
	return true, j.update(ctx, "repack", func(t *tx) {
		if len(rows) > 0 {
			t.exec(`UPDATE chunk_body SET body = ? WHERE first = ?`, body, c.first)
		}
		t.exec(`DELETE FROM repack WHERE first = ?`, c.first)
	})
}
