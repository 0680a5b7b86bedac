package journal

import (
	"context"
	"database/sql"
	"encoding/binary"
	"math"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal/columns"
)

// A Snapshot is the state of the rules, of the doubts and of the arrivals after
// one event.
type Snapshot struct {
	Seq      int64     // of the last event it contains
	Version  int       // of its encoding
	Digest   string    // of the configuration it was made under
	Taken    time.Time // journal time
	Rules    []byte
	Doubts   []byte
	Arrivals []byte
}

func (s *Snapshot) parts() [3]*[]byte { return [...]*[]byte{&s.Rules, &s.Doubts, &s.Arrivals} }

// Snapshot gives the newest snapshot that can be read; ok is false when there is
// none, and the caller has to replay from the start. Version and Digest are for
// the caller to judge: the journal does not know what they mean.
func (j *Journal) Snapshot(ctx context.Context) (s Snapshot, ok bool, err error) {
	type packed struct {
		Snapshot
		body []byte
	}
	kept, err := viewAll(ctx, j, "read snapshot", func(s *packed, rows *sql.Rows) error {
		return rows.Scan(&s.Seq, &s.Version, &s.Digest, millis{&s.Taken}, &s.body)
	}, `SELECT seq, version, digest, taken, body FROM snapshot ORDER BY seq DESC, taken DESC LIMIT 2`)
	for _, s := range kept {
		if err := s.decode(s.body); err != nil {
			j.log.Warn("snapshot can't be read, taking an older one", "seq", s.Seq, "error", err)
			continue
		}
		return s.Snapshot, true, nil
	}
	return Snapshot{}, false, err
}

// decode reads the parts, each after its length.
func (s *Snapshot) decode(body []byte) error {
	plain, err := decompress(body)
	if err != nil {
		return err
	}
	c := &columns.Codec{Unpacking: true, Cols: [][]byte{plain}}
	for _, part := range s.parts() {
		*part = c.Take(0, c.Uint(0, 0))
	}
	return damaged(c.Err)
}

// How long the first snapshot of a day and that of a week are kept.
const (
	dailyKept  = 15 * 24 * time.Hour
	weeklyKept = 100 * 24 * time.Hour
)

// writeSnapshot puts one in the place of what is kept no longer. The newest two are
// kept so that one that is damaged costs a longer replay and nothing else; the first of
// each day, and after two weeks that of each week, so that a line that is struck costs
// the replay of a few days.
func writeSnapshot(t *tx, s Snapshot) {
	if s.Seq == 0 {
		s.Seq = t.head.next - 1
	}
	now := s.Taken.UnixMilli()
	t.exec(`DELETE FROM snapshot WHERE slot NOT IN (SELECT slot FROM snapshot ORDER BY seq DESC, taken DESC LIMIT 1)
		AND NOT (taken > ?1 AND seq IN (SELECT min(seq) FROM snapshot GROUP BY taken / 86400000))
		AND NOT (taken > ?2 AND seq IN (SELECT min(seq) FROM snapshot GROUP BY taken / 604800000))`,
		now-dailyKept.Milliseconds(), now-weeklyKept.Milliseconds())
	slot := t.number(`SELECT coalesce(max(slot) + 1, 0) FROM snapshot`)
	var plain []byte
	for _, part := range s.parts() {
		plain = append(binary.AppendUvarint(plain, uint64(len(*part))), *part...)
	}
	body, err := compress(plain)
	t.fail(err)
	t.exec(`INSERT OR REPLACE INTO snapshot (slot, seq, version, digest, taken, body) VALUES (?, ?, ?, ?, ?, ?)`,
		slot, s.Seq, s.Version, s.Digest, s.Taken.UnixMilli(), body)
}

// A Repeat is what is needed to recognise a message that comes again.
type Repeat struct {
	Packet  uint16
	Sender  uint32
	Hash    uint32
	Session int64
	Seq     int64
}

// repeatReach is how far back, in sequence numbers for each message asked for,
// messages are looked for: one message may make several events, and ticks and
// jots stand between.
const repeatReach = 16

// Repeats gives the last n entries that came in an MQTT message, newest first,
// so that what the broker sends again is recognised. A message that made several
// entries is there several times.
func (j *Journal) Repeats(ctx context.Context, n int) ([]Repeat, error) {
	scan := func(r *Repeat, rows *sql.Rows) error {
		var hash, sender int32
		err := rows.Scan(&r.Seq, &r.Packet, &hash, &sender, &r.Session)
		r.Hash, r.Sender = uint32(hash), uint32(sender)
		return err
	}
	return viewAll(ctx, j, "read last messages", scan, `WITH reach AS (SELECT `+newest+` - ?1 AS after)
		SELECT seq, packet, hash, coalesce(sender, 0),
			coalesce((SELECT session FROM session WHERE after_seq < r.seq ORDER BY after_seq DESC LIMIT 1), 0)
		FROM (SELECT seq, packet, hash, sender FROM unpacked WHERE seq > (SELECT after FROM reach) AND packet IS NOT NULL
			UNION ALL SELECT seq, packet, hash, sender FROM event WHERE seq > (SELECT after FROM reach) AND packet IS NOT NULL) r
		ORDER BY seq DESC LIMIT ?2`, int64(n)*repeatReach, n)
}

// Last gives the sequence number of the newest event; 0 when there is none.
func (j *Journal) Last(ctx context.Context) (int64, error) {
	return viewed(ctx, j, "read last event", func(t *tx) int64 { return t.number(`SELECT ` + newest) })
}

// Cursor gives how far a reader of the journal has got; 0 when it has not begun.
func (j *Journal) Cursor(ctx context.Context, name string) (int64, error) {
	return viewed(ctx, j, "read cursor", func(t *tx) int64 { return t.number(`SELECT seq FROM cursor WHERE name = ?`, name) })
}

// SetCursor notes how far a reader has got. It is a commit like any other, one
// or two pages and a sync, so a reader should call it for many readings at once.
func (j *Journal) SetCursor(ctx context.Context, name string, to int64) error {
	return j.update(ctx, "set cursor", func(t *tx) {
		t.exec(`INSERT INTO cursor (name, seq) VALUES (?, ?) ON CONFLICT DO UPDATE SET seq = excluded.seq`, name, to)
	})
}

// Behind gives how many events a reader of the journal that has got to cursor
// has before it.
func (j *Journal) Behind(ctx context.Context, cursor int64) (int64, error) {
	last, err := j.Last(ctx)
	return max(0, last-cursor), err
}

// maxParked bounds the refused rows that are kept, newest first.
const maxParked = 1000

// rowsParked asks how many rows were refused in all.
const rowsParked = `SELECT max(id) FROM parked`

// Park keeps rows that a database refused, for a person to look at. Only the
// newest thousand stay; of many at once the others are counted and never written.
func (j *Journal) Park(ctx context.Context, rows []farm.Parked) error {
	return j.update(ctx, "park rows", func(t *tx) {
		id := t.number(rowsParked)
		for i, r := range rows {
			if id += int64(max(1, r.Rows)); i >= len(rows)-maxParked {
				t.exec(`INSERT INTO parked (id, at, line, reason) VALUES (?, ?, ?, ?)`, id, r.At.UnixMilli(), r.Line, r.Reason)
			}
		}
		t.exec(`DELETE FROM parked WHERE id <= (SELECT id FROM parked ORDER BY id DESC LIMIT 1 OFFSET ?)`, maxParked)
	})
}

// Parked gives the newest refused rows, newest first, and how many were refused
// in all.
func (j *Journal) Parked(ctx context.Context, limit int) (newest []farm.Parked, total int64, err error) {
	err = j.view(ctx, "read parked rows", func(t *tx) {
		total = t.number(rowsParked)
		newest = collect(t, func(p *farm.Parked, rows *sql.Rows) error {
			return rows.Scan(&p.ID, millis{&p.At}, &p.Line, &p.Reason)
		}, `SELECT id, at, line, reason FROM parked ORDER BY id DESC LIMIT ?`, min(limit, math.MaxInt32))
	})
	return newest, total, err
}
