package journal

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"sync"
	"time"

	"binwatchd/internal/farm"
)

// maxSamples bounds what one question may ask for.
const maxSamples = 100_000

// Samples gives the history of one quantity of a zone (zone "": of the room's
// air at the bin) in the steps that begin in [from, to), oldest first, leaving
// out those without readings. Steps are counted from midnight UTC. It tells what the
// believed readings of all the zone's probes said; readings of uncertain time
// are left out. Step 0 lets the journal choose about 300 of them. Steps under an
// hour are met as long as raw readings are kept; beyond, they are hours.
func (j *Journal) Samples(ctx context.Context, bin, zone string, q farm.Quantity,
	from, to time.Time, step time.Duration) ([]farm.Sample, error) {
	at := place{bin, zone}
	return j.samples(ctx, from, to, step, func(s series) bool {
		return s.quantity == q && slices.Contains(s.places, at)
	})
}

// ProbeSamples gives the history of one probe, wherever it was, as Samples does.
func (j *Journal) ProbeSamples(ctx context.Context, probe string,
	from, to time.Time, step time.Duration) ([]farm.Sample, error) {
	return j.samples(ctx, from, to, step, func(s series) bool { return s.probe == probe && s.quantity != "" })
}

func (j *Journal) samples(ctx context.Context, from, to time.Time, step time.Duration,
	wanted func(series) bool) ([]farm.Sample, error) {
	if !from.Before(to) {
		return nil, nil
	}
	if step <= 0 {
		step = usualStep(to.Sub(from))
	}
	step = max(step.Truncate(time.Second), time.Second)
	if n := to.Sub(from) / step; n > maxSamples {
		return nil, fmt.Errorf("read history: %d steps of %s are too many; ask for longer steps", n, step)
	}
	j.recent.mu.Lock()
	defer j.recent.mu.Unlock()
	return viewed(ctx, j, "read history", func(t *tx) []farm.Sample {
		ends := readEnds(t)
		all := slices.DeleteFunc(slices.Clone(j.loadSeries(t)), func(s series) bool { return !wanted(s) })
		if len(all) == 0 {
			return nil
		}
		j.recent.refresh(t, ends)
		b := newBuckets(from.UnixMilli(), to.UnixMilli(), step.Milliseconds(), ends.dropped, all[0].quantity)
		b.fill(t, j, all)
		return b.samples()
	})
}

// usualStep gives a step of which about 300 fill the time.
func usualStep(long time.Duration) time.Duration {
	const day = 24 * time.Hour
	for _, s := range []time.Duration{5 * time.Minute, 10 * time.Minute, 30 * time.Minute,
		time.Hour, 2 * time.Hour, 6 * time.Hour, 12 * time.Hour, day, 2 * day} {
		if long <= 400*s {
			return s
		}
	}
	return 7 * day
}

// buckets sort values into steps.
type buckets struct {
	lo, hi, step int64 // ms; whole steps
	fine         bool  // steps under an hour, from raw readings
	quantity     farm.Quantity
	sums         []summary
}

func newBuckets(from, to, step, dropped int64, q farm.Quantity) *buckets {
	b := &buckets{fine: step < hourMs, step: step, quantity: q}
	if b.fine && from < dropped {
		b.fine, b.step = false, hourMs
	}
	b.lo = floorDiv(from-1, b.step)*b.step + b.step
	b.hi = floorDiv(to-1, b.step)*b.step + b.step
	b.sums = make([]summary, max(0, b.hi-b.lo)/b.step)
	return b
}

// merge adds a summary to the step that a time falls into, if it is within.
func (b *buckets) merge(ms int64, s summary) {
	if ms >= b.lo && ms < b.hi {
		b.sums[(ms-b.lo)/b.step].merge(s)
	}
}

func (b *buckets) add(ms int64, value float64) {
	var s summary
	s.add(value, b.quantity)
	b.merge(ms, s)
}

// fill takes what is not packed from memory, and what is packed from the readings
// themselves where steps are fine, else from the history.
func (b *buckets) fill(t *tx, j *Journal, all []series) {
	of := map[int64]bool{}
	for _, s := range all {
		of[s.id] = true
		for _, m := range j.recent.points[s.id] {
			b.add(m.at, m.value)
		}
		if !b.fine {
			b.fillDays(t, s.id)
		}
	}
	if !b.fine {
		return
	}
	for _, c := range chunksWithin(t, b.lo, b.hi) {
		for _, r := range j.readOrPass(t, c) {
			if of[r.series] && r.judged() {
				b.add(r.at(), r.value)
			}
		}
	}
}

// fillDays takes whole days where steps are of whole days, else hours.
func (b *buckets) fillDays(t *tx, id int64) {
	whole := b.step%dayMs == 0
	t.each(func(rows *sql.Rows) error {
		var n int64
		var sum summary
		var hours sql.RawBytes
		if err := rows.Scan(&n, &sum.n, &sum.sum, &sum.min, &sum.max, &hours); err != nil {
			return err
		}
		if whole {
			b.merge(n*dayMs, sum)
			return nil
		}
		d, err := decodeDay(hours)
		for h, s := range d {
			b.merge(n*dayMs+int64(h)*hourMs, s)
		}
		return err
	}, `SELECT day, n, sum, min, max, CASE WHEN ?4 THEN NULL ELSE hours END FROM history
		WHERE series = ?1 AND day BETWEEN ?2 AND ?3`, id, dayOf(b.lo), dayOf(b.hi-1), whole)
}

func (b *buckets) samples() (out []farm.Sample) {
	for i, s := range b.sums {
		if s.n > 0 {
			out = append(out, s.sample(b.lo+int64(i)*b.step, b.quantity))
		}
	}
	return out
}

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

// ends are all that has to be known of the file before samples can be gathered
// from it, in one question.
type ends struct {
	packed   int64 // end of what is packed
	unpacked int64 // end of what is not
	moved    int64 // how often times have been moved
	dropped  int64 // arrival up to which raw readings are gone, ms
}

func readEnds(t *tx) (e ends) {
	t.get(into(&e.packed, &e.unpacked, &e.moved, &e.dropped), `SELECT coalesce((SELECT max(last) FROM chunk), 0),
		max(coalesce((SELECT max(seq) FROM reading_0), 0), coalesce((SELECT max(seq) FROM reading_1), 0)),
		coalesce((SELECT value FROM meta WHERE name = 'moved'), 0),
		coalesce((SELECT value FROM meta WHERE name = 'dropped'), 0)`)
	return e
}

// refresh brings it up to the state of the file that q sees. The caller holds
// mu and took it before q's transaction began.
func (r *recent) refresh(t *tx, e ends) {
	if t.err != nil {
		return
	}
	if r.points == nil || e.moved != r.moved {
		r.points, r.upto, r.moved = map[int64][]moment{}, 0, e.moved
	}
	if r.packed != e.packed {
		r.forget(e.packed)
		r.packed = e.packed
	}
	after := max(e.packed, r.upto)
	if e.unpacked <= after {
		return
	}
	t.each(func(rows *sql.Rows) error {
		var row row
		if err := scanRow(&row, rows); err != nil {
			return err
		}
		r.upto = row.seq
		if row.judged() {
			r.points[row.series] = append(r.points[row.series], moment{row.seq, row.at(), row.value})
		}
		return nil
	}, `SELECT `+rowColumns+` FROM unpacked WHERE seq > ? ORDER BY seq`, after)
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

func (r *recent) forgetAll() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.points = nil
}
