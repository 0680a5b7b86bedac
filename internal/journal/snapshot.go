package journal

import (
	"bytes"
	"compress/flate"
	"context"
	"database/sql"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"
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
	parts, err := unpress(body)
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
	return tx.exec(`INSERT OR REPLACE INTO snapshot (slot, seq, version, digest, taken, body) VALUES (?, ?, ?, ?, ?, ?)`,
		slot, s.Seq, s.Version, s.Digest, s.Taken.UnixMilli(), press(parts))
}

// maxPressed bounds what a damaged body may unfold to.
const maxPressed = 64 << 20

// press compresses and puts a check sum before it: SQLite has none, and a card
// may give back other bits than it was given.
func press(b []byte) []byte {
	var out bytes.Buffer
	out.Write(binary.LittleEndian.AppendUint32(nil, crc32.Checksum(b, castagnoli)))
	w, _ := flate.NewWriter(&out, flate.BestCompression) // the level is a valid one
	w.Write(b)                                           // a buffer takes all
	w.Close()
	return out.Bytes()
}

// unpress gives back what press was given, or ErrDamaged.
func unpress(b []byte) ([]byte, error) {
	if len(b) < 4 {
		return nil, fmt.Errorf("%w: %d bytes are too few", ErrDamaged, len(b))
	}
	out, err := io.ReadAll(io.LimitReader(flate.NewReader(bytes.NewReader(b[4:])), maxPressed))
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	if crc32.Checksum(out, castagnoli) != binary.LittleEndian.Uint32(b) {
		return nil, fmt.Errorf("%w: check sum differs", ErrDamaged)
	}
	return out, nil
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)
