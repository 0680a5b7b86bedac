package journal

import (
	"context"
	"database/sql"
	"errors"
)

// repackAtOnce is how many older chunks one fold packs anew: a year of two hundred
// probes takes a day of hourly folds, and none of them a minute.
const repackAtOnce = 16

// repack packs some of the chunks anew that an older version wrote. The table
// repack, which a migration made, lists them. Each takes a transaction of its own, in
// which its body is replaced and its line in the list goes: whenever it is
// interrupted, a chunk has been packed anew or has not, and reads alike both ways.
// The room that the old body leaves takes the next new one.
func (j *Journal) repack(ctx context.Context, done *Folded) error {
	for range repackAtOnce {
		more, err := j.repackNext(ctx)
		if err != nil || !more {
			return err
		}
		done.Renewed++
	}
	return nil
}

// repackNext packs one chunk anew. It holds the lock against a change of its times
// for that chunk alone, so that intake never waits for more. A chunk that can't be
// read stays as it is.
func (j *Journal) repackNext(ctx context.Context) (more bool, err error) {
	j.folding.Lock()
	defer j.folding.Unlock()
	var c chunkInfo
	var rows []row
	err = j.view(ctx, "repack", func(t *sql.Tx) error {
		err := t.QueryRowContext(ctx, `SELECT r.first, coalesce(c.last, 0), coalesce(c.rows, 0)
			FROM repack r LEFT JOIN chunk c ON c.first = r.first ORDER BY r.first LIMIT 1`).Scan(&c.first, &c.last, &c.rows)
		if err != nil || c.rows == 0 { // dropped since
			return err
		}
		rows, err = j.readOrPass(ctx, t, c)
		return err
	})
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	body, err := pack(rows)
	if err != nil {
		return false, err
	}
	return true, j.update(ctx, "repack", func(tx *tx) error {
		if len(rows) > 0 {
			if err := tx.exec(`UPDATE chunk_body SET body = ? WHERE first = ?`, body, c.first); err != nil {
				return err
			}
		}
		return tx.exec(`DELETE FROM repack WHERE first = ?`, c.first)
	})
}
