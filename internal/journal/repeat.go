package journal

import (
	"context"
	"database/sql"
)

// repeatReach is how far back, in sequence numbers for each message asked for,
// messages are looked for: one message may make several events, and ticks and
// jots stand between.
const repeatReach = 16

// Repeats gives the last n entries that came in an MQTT message, newest first,
// so that what the broker sends again is recognised. A message that made several
// entries is there several times.
func (j *Journal) Repeats(ctx context.Context, n int) ([]Repeat, error) {
	var out []Repeat
	err := j.view(ctx, "read last messages", func(t *sql.Tx) error {
		last, err := lastSeq(ctx, t)
		if err != nil {
			return err
		}
		after := last - int64(n)*repeatReach
		rows, err := t.QueryContext(ctx, `SELECT seq, packet, hash, coalesce(sender, 0),
				coalesce((SELECT session FROM session WHERE after_seq < r.seq ORDER BY after_seq DESC LIMIT 1), 0)
			FROM (SELECT seq, packet, hash, sender FROM unpacked WHERE seq > ? AND packet IS NOT NULL
				UNION ALL SELECT seq, packet, hash, sender FROM event WHERE seq > ? AND packet IS NOT NULL) r
			ORDER BY seq DESC LIMIT ?`, after, after, n)
		out, err = collect(rows, err, func(rows *sql.Rows) (Repeat, error) {
			var r Repeat
			var hash, sender int32
			err := rows.Scan(&r.Seq, &r.Packet, &hash, &sender, &r.Session)
			r.Hash, r.Sender = uint32(hash), uint32(sender)
			return r, err
		})
		return err
	})
	return out, err
}

// Last gives the sequence number of the newest event; 0 when there is none.
func (j *Journal) Last(ctx context.Context) (int64, error) {
	var last int64
	err := j.view(ctx, "read last event", func(t *sql.Tx) error {
		var err error
		last, err = lastSeq(ctx, t)
		return err
	})
	return last, err
}

func lastSeq(ctx context.Context, q querier) (last int64, err error) {
	err = q.QueryRowContext(ctx, `SELECT max((SELECT coalesce(max(seq), 0) FROM reading_0), (SELECT coalesce(max(seq), 0) FROM reading_1),
		(SELECT coalesce(max(seq), 0) FROM event), (SELECT coalesce(max(last), 0) FROM chunk))`).Scan(&last)
	return last, err
}
