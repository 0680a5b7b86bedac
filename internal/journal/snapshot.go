package journal

import (
	"context"
	"database/sql"
	"encoding/binary"
)

// Snapshot gives the newest snapshot that can be read; ok is false when there is
// none, and the caller has to replay from the start. Version and Digest are for
// the caller to judge: the journal does not know what they mean.
func (j *Journal) Snapshot(ctx context.Context) (s Snapshot, ok bool, err error) {
	err = j.view(ctx, "read snapshot", func(t *sql.Tx) error {
		rows, err := t.QueryContext(ctx, `SELECT seq, version, digest, taken, body FROM snapshot ORDER BY seq DESC, taken DESC`)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() && !ok {
			if s, ok, err = j.scanSnapshot(rows); err != nil {
				return err
			}
		}
		return rows.Err()
	})
	if !ok {
		s = Snapshot{}
	}
	return s, ok, err
}

func (j *Journal) scanSnapshot(rows *sql.Rows) (s Snapshot, ok bool, err error) {
	var taken int64
	var body []byte
	if err := rows.Scan(&s.Seq, &s.Version, &s.Digest, &taken, &body); err != nil {
		return s, false, err
	}
	s.Taken = instant(taken)
	parts, err := decompress(body)
	if err != nil {
		j.log.Warn("snapshot can't be read, taking an older one", "seq", s.Seq, "error", err)
		return s, false, nil
	}
	for _, part := range []*[]byte{&s.Rules, &s.Doubts, &s.Arrivals} {
		n, w := binary.Uvarint(parts)
		if w <= 0 || n > uint64(len(parts)-w) {
			j.log.Warn("snapshot can't be read, taking an older one", "seq", s.Seq)
			return s, false, nil
		}
		*part, parts = parts[w:w+int(n)], parts[w+int(n):]
	}
	return s, true, nil
}

// writeSnapshot overwrites the older of two. Two are kept so that one that is
// damaged costs a longer replay and nothing else.
func writeSnapshot(tx *tx, s Snapshot) error {
	var slot int64
	err := tx.row(`SELECT CASE count(*) WHEN 0 THEN 0 WHEN 1 THEN 1 - max(slot)
		ELSE (SELECT slot FROM snapshot ORDER BY seq, taken LIMIT 1) END FROM snapshot`).Scan(&slot)
	if err != nil {
		return err
	}
	var parts []byte
	for _, part := range [][]byte{s.Rules, s.Doubts, s.Arrivals} {
		parts = append(binary.AppendUvarint(parts, uint64(len(part))), part...)
	}
	body, err := compress(parts)
	if err != nil {
		return err
	}
	return tx.exec(`INSERT OR REPLACE INTO snapshot (slot, seq, version, digest, taken, body) VALUES (?, ?, ?, ?, ?, ?)`,
		slot, s.Seq, s.Version, s.Digest, s.Taken.UnixMilli(), body)
}
