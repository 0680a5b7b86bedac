package journal

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"binwatchd/internal/farm"
)

// A Restamp moves the events of a stretch, both ends included, in time once the
// clock they were stamped by is known to have been wrong by Shift: the times of
// arrival of all of them, and the times of measurement of those readings and
// jots that the arrival had stood in for. What a device has stamped itself stays.
// Changes caused in the stretch move too. Snapshots taken in it are dropped and
// the daily history is made anew; the next clock event after the stretch, if it
// tells this shift, is from then on replayed as telling none, since the times
// before it are right already.
type Restamp struct {
	From, To int64 // sequence numbers; in a batch, To 0 is what stands before its clock event
	Shift    time.Duration
}

// stretchToMove is what a batch asks to restamp.
func (b *Batch) stretchToMove() Restamp {
	r := *b.Restamp
	for _, e := range b.Entries {
		if r.To == 0 && e.Event.Kind == farm.EventClock {
			r.To = e.Event.Seq - 1
		}
	}
	return r
}

func (j *Journal) restampTx(t *tx, r Restamp) error {
	ms := r.Shift.Milliseconds()
	if ms == 0 || r.To < r.From {
		return nil
	}
	for _, step := range []func(*tx, Restamp) error{restampUnpacked, restampEvents, restampChanges, markClockWritten} {
		if err := step(t, r); err != nil {
			return err
		}
	}
	if err := j.restampPacked(t, r); err != nil {
		return err
	}
	if err := t.exec(`DELETE FROM snapshot WHERE seq BETWEEN ? AND ?`, r.From, r.To); err != nil {
		return err
	}
	return t.exec(`INSERT INTO meta (name, value) VALUES ('moved', 1) ON CONFLICT DO UPDATE SET value = value + 1`)
}

// restampUnpacked moves rows in place. A stamped row's arrival moves and its
// measurement does not, so the difference between them takes the shift back.
func restampUnpacked(tx *tx, r Restamp) error {
	packed, err := packedTo(tx.ctx, tx)
	if err != nil {
		return err
	}
	for _, table := range tableName {
		err := tx.exec(`UPDATE `+table+` SET arrived = arrived + ?1,
				stamp = CASE WHEN marks & ?2 THEN coalesce(stamp, 0) - ?1 ELSE stamp END
			WHERE seq BETWEEN ?3 AND ?4`, r.Shift.Milliseconds(), markStamped, max(r.From, packed+1), r.To)
		if err != nil {
			return err
		}
	}
	return nil
}

func (r row) shifted(ms int64) row {
	r.arrived += ms
	if r.marks&markStamped != 0 {
		r.stamp -= ms
	}
	return r
}

// restampPacked moves rows in chunks, and makes the days anew that they were
// and are in.
func (j *Journal) restampPacked(tx *tx, r Restamp) error {
	touched, err := chunks(tx.ctx, tx, `last >= ? AND first <= ? ORDER BY first`, r.From, r.To)
	if err != nil || len(touched) == 0 {
		return err
	}
	days := map[seriesDay]bool{}
	for _, c := range touched {
		if err := restampChunk(tx, c, r, days); err != nil {
			return err
		}
	}
	all, err := j.series.load(tx.ctx, tx)
	if err != nil {
		return err
	}
	return rebuildDays(tx, days, all)
}

func restampChunk(tx *tx, c chunkInfo, r Restamp, days map[seriesDay]bool) error {
	rows, err := readChunk(tx.ctx, tx, c)
	if err != nil {
		return err
	}
	for i, old := range rows {
		if old.seq < r.From || old.seq > r.To {
			continue
		}
		rows[i] = old.shifted(r.Shift.Milliseconds())
		if old.judged() && rows[i].at() != old.at() {
			days[seriesDay{old.series, dayOf(old.at())}] = true
			days[seriesDay{old.series, dayOf(rows[i].at())}] = true
		}
	}
	body, err := pack(rows)
	if err != nil {
		return err
	}
	return writeChunk(tx, rows, body)
}

// restampEvents moves the other events. A jot whose own time is its arrival had
// no time of its own.
func restampEvents(tx *tx, r Restamp) error {
	events, err := eventsBetween(tx.ctx, tx, r.From-1, r.To)
	if err != nil {
		return err
	}
	for _, e := range events {
		was := e.Arrived
		e.Arrived = was.Add(r.Shift)
		if e.Kind == farm.EventJot && e.Jot.At.Equal(was) {
			e.Jot.At = e.Arrived
			if err := rewriteJot(tx, e); err != nil {
				return err
			}
		}
		if err := tx.exec(`UPDATE event SET arrived = ? WHERE seq = ?`, e.Arrived.UnixMilli(), e.Seq); err != nil {
			return err
		}
	}
	return nil
}

func rewriteJot(tx *tx, e farm.Event) error {
	body, err := bodyOf(e)
	if err != nil {
		return err
	}
	text, err := json.Marshal(body)
	if err != nil {
		return err
	}
	return tx.exec(`UPDATE event SET at = ?, body = ? WHERE seq = ?`, body.Jot.At.UnixMilli(), string(text), e.Seq)
}

func restampChanges(tx *tx, r Restamp) error {
	changes, err := collect(tx.ctx, tx, scanChange, `SELECT `+changeColumns+` FROM change WHERE seq BETWEEN ? AND ? ORDER BY id`, r.From, r.To)
	if err != nil {
		return err
	}
	for _, c := range changes {
		shiftChange(&c.Change, r.Shift)
		text, err := json.Marshal(c.Change)
		if err != nil {
			return err
		}
		if err := tx.exec(`UPDATE change SET at = ?, body = ? WHERE id = ?`, c.At.UnixMilli(), string(text), c.ID); err != nil {
			return err
		}
	}
	return nil
}

// shiftChange moves every time a change tells.
func shiftChange(c *farm.Change, by time.Duration) {
	move := func(t *time.Time) {
		if t != nil && !t.IsZero() {
			*t = t.Add(by)
		}
	}
	move(&c.At)
	move(&c.Since)
	if c.Forecast != nil {
		move(&c.Forecast.Crosses)
		move(&c.Forecast.Earliest)
		move(&c.Forecast.Latest)
	}
	if c.Advice != nil {
		move(c.Advice.Opens)
		move(c.Advice.Closes)
	}
}

// markClockWritten marks the first clock event after the stretch as written back, if
// it tells this shift.
func markClockWritten(tx *tx, r Restamp) error {
	var seq int64
	var text []byte
	err := tx.row(`SELECT seq, body FROM event WHERE seq > ? AND kind = ? ORDER BY seq LIMIT 1`, r.To, int64(farm.EventClock)).Scan(&seq, &text)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err != nil {
		return err
	}
	var body eventBody
	if err := json.Unmarshal(text, &body); err != nil {
		return fmt.Errorf("%w: event %d: %w", ErrDamaged, seq, err)
	}
	if body.ShiftMs != r.Shift.Milliseconds() {
		return nil
	}
	body.Settled = true
	if text, err = json.Marshal(body); err != nil {
		return err
	}
	return tx.exec(`UPDATE event SET body = ? WHERE seq = ?`, string(text), seq)
}
