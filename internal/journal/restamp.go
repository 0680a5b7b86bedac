package journal

import (
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
// before it are right already. So is a clock event that the stretch begins with: it
// has brought the wrong time.
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

func (j *Journal) restampTx(t *tx, r Restamp) {
	if r.Shift.Milliseconds() == 0 || r.To < r.From {
		return
	}
	restampUnpacked(t, r)
	restampEvents(t, r)
	restampChanges(t, r)
	markClockWritten(t, r.To+1, func(_ int64, e eventBody) bool { return e.ShiftMs == r.Shift.Milliseconds() })
	markClockWritten(t, r.From, func(seq int64, e eventBody) bool { return seq == r.From && (e.ShiftMs < 0) != (r.Shift < 0) })
	j.restampPacked(t, r)
	t.exec(`DELETE FROM snapshot WHERE seq BETWEEN ? AND ?`, r.From, r.To)
	t.setMeta("moved", t.number(timesMoved)+1)
}

// restampUnpacked moves rows in place. A stamped row's arrival moves and its
// measurement does not, so the difference between them takes the shift back.
func restampUnpacked(t *tx, r Restamp) {
	from := max(r.From, t.number(packedTo)+1)
	for _, table := range tableName {
		t.exec(`UPDATE `+table+` SET arrived = arrived + ?1,
				stamp = CASE WHEN marks & ?2 THEN coalesce(stamp, 0) - ?1 ELSE stamp END
			WHERE seq BETWEEN ?3 AND ?4`, r.Shift.Milliseconds(), markStamped, from, r.To)
	}
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
func (j *Journal) restampPacked(t *tx, r Restamp) {
	moved := map[seriesDay]bool{}
	for _, c := range chunks(t, `last >= ? AND first <= ? ORDER BY first`, r.From, r.To) {
		rows := readChunk(t, c)
		if t.err != nil {
			return
		}
		for i, old := range rows {
			if old.seq < r.From || old.seq > r.To {
				continue
			}
			rows[i] = old.shifted(r.Shift.Milliseconds())
			if old.judged() && rows[i].at() != old.at() {
				moved[seriesDay{old.series, dayOf(old.at())}] = true
				moved[seriesDay{old.series, dayOf(rows[i].at())}] = true
			}
		}
		body, err := pack(rows)
		t.fail(err)
		writeChunk(t, rows, body)
	}
	rebuildDays(t, moved, j.loadSeries(t))
}

// restampEvents moves the other events. A jot whose own time is its arrival had
// no time of its own.
func restampEvents(t *tx, r Restamp) {
	for _, e := range eventsBetween(t, r.From-1, r.To) {
		was := e.Arrived
		e.Arrived = was.Add(r.Shift)
		if e.Kind == farm.EventJot && e.Jot.At.Equal(was) {
			e.Jot.At = e.Arrived
			t.exec(`UPDATE event SET at = ?, body = ? WHERE seq = ?`, e.Jot.At.UnixMilli(), asJSON(t, bodyOf(e)), e.Seq)
		}
		t.exec(`UPDATE event SET arrived = ? WHERE seq = ?`, e.Arrived.UnixMilli(), e.Seq)
	}
}

func restampChanges(t *tx, r Restamp) {
	for _, c := range collect(t, scanChange, `SELECT `+changeColumns+` FROM change WHERE seq BETWEEN ? AND ?`, r.From, r.To) {
		shiftChange(&c.Change, r.Shift)
		t.exec(`UPDATE change SET at = ?, body = ? WHERE id = ?`, c.At.UnixMilli(), asJSON(t, c.Change), c.ID)
	}
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

// markClockWritten marks the first clock event from a sequence number on as written
// back, if it is one.
func markClockWritten(t *tx, from int64, is func(seq int64, e eventBody) bool) {
	var seq int64
	var text []byte
	if !t.get(into(&seq, &text), `SELECT seq, body FROM event WHERE seq >= ? AND kind = ? ORDER BY seq LIMIT 1`,
		from, int64(farm.EventClock)) {
		return
	}
	var body eventBody
	t.fail(fromJSON(text, &body, "event", seq))
	if is(seq, body) {
		body.Settled = true
		t.exec(`UPDATE event SET body = ? WHERE seq = ?`, asJSON(t, body), seq)
	}
}
