package journal

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"binwatchd/internal/farm"
)

// maxSamples bounds what one question may ask for.
const maxSamples = 100_000

// A Curve is whose history is meant: that of one quantity of a zone (zone "": of the
// room's air at the bin), or that of a probe, wherever it was.
type Curve struct {
	farm.Place
	Quantity farm.Quantity
	Probe    string
}

func (c Curve) takes(s series) bool {
	if c.Probe != "" {
		return s.probe == c.Probe && s.quantity != ""
	}
	return s.quantity == c.Quantity && slices.Contains(s.places, place{c.Bin, c.Zone})
}

// Samples gives the history of a zone's quantity as Curves does.
func (j *Journal) Samples(ctx context.Context, bin, zone string, q farm.Quantity,
	from, to time.Time, step time.Duration) ([]farm.Sample, error) {
	return one(j.Curves(ctx, []Curve{{Place: farm.Place{Bin: bin, Zone: zone}, Quantity: q}}, from, to, step))
}

// ProbeSamples gives the history of one probe as Curves does.
func (j *Journal) ProbeSamples(ctx context.Context, probe string,
	from, to time.Time, step time.Duration) ([]farm.Sample, error) {
	return one(j.Curves(ctx, []Curve{{Probe: probe}}, from, to, step))
}

func one(all [][]farm.Sample, err error) ([]farm.Sample, error) {
	if len(all) == 0 {
		return nil, err
	}
	return all[0], err
}

// Curves gives histories, each in the steps that begin in [from, to), oldest first,
// leaving out those without readings. Steps are counted from midnight UTC. It tells what
// the believed readings of all the zone's probes said; readings of uncertain time
// are left out. Step 0 lets the journal choose about 300 of them. Steps under an
// hour are met as long as raw readings are kept; beyond, they are hours.
func (j *Journal) Curves(ctx context.Context, curves []Curve, from, to time.Time, step time.Duration) ([][]farm.Sample, error) {
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
	return viewed(ctx, j, "read history", func(t *tx) [][]farm.Sample {
		ends := readEnds(t)
		h := newHistories(from.UnixMilli(), to.UnixMilli(), step.Milliseconds(), ends.dropped)
		out, into := make([][]farm.Sample, len(curves)), make([]*buckets, len(curves))
		for _, s := range j.loadSeries(t) {
			for i, c := range curves {
				if c.takes(s) {
					into[i] = h.add(s, into[i])
				}
			}
		}
		if len(h.of) == 0 {
			return out
		}
		j.recent.refresh(t, ends)
		h.fill(t, j)
		for i, b := range into {
			out[i] = b.samples()
		}
		return out
	})
}

// FirstHeard gives the first day, in UTC, of which each probe is known to have been
// believed, wherever it was.
func (j *Journal) FirstHeard(ctx context.Context) (map[string]time.Time, error) {
	j.recent.mu.Lock()
	defer j.recent.mu.Unlock()
	return viewed(ctx, j, "read history", func(t *tx) map[string]time.Time {
		first := map[string]time.Time{}
		all := j.loadSeries(t)
		heard := func(series, day int64) {
			probe, at := all[series-1].probe, instant(day*dayMs)
			if was, known := first[probe]; !known || at.Before(was) {
				first[probe] = at
			}
		}
		j.recent.refresh(t, readEnds(t))
		for id, points := range j.recent.points {
			for _, m := range points {
				heard(id, dayOf(m.at))
			}
		}
		t.each(func(rows *sql.Rows) error {
			var id, day int64
			err := rows.Scan(&id, &day)
			if err == nil {
				heard(id, day)
			}
			return err
		}, `SELECT id, (SELECT min(day) FROM history WHERE series = id) AS day FROM series WHERE day IS NOT NULL`)
		return first
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

// histories are several histories in the same steps.
type histories struct {
	lo, hi, step int64                // ms; whole steps
	fine         bool                 // steps under an hour, from raw readings
	of           map[int64][]*buckets // by series: those that it belongs to
}

// buckets are one history's values by steps.
type buckets struct {
	*histories
	quantity farm.Quantity
	sums     []summary
}

func newHistories(from, to, step, dropped int64) *histories {
	h := &histories{fine: step < hourMs, step: step, of: map[int64][]*buckets{}}
	if h.fine && from < dropped {
		h.fine, h.step = false, hourMs
	}
	h.lo = floorDiv(from-1, h.step)*h.step + h.step
	h.hi = floorDiv(to-1, h.step)*h.step + h.step
	return h
}

// add has a series belong to a history, nil for a new one, and gives that.
func (h *histories) add(s series, b *buckets) *buckets {
	if b == nil {
		b = &buckets{h, s.quantity, make([]summary, max(0, h.hi-h.lo)/h.step)}
	}
	h.of[s.id] = append(h.of[s.id], b)
	return b
}

// merge adds a summary to the step that a time falls into, if it is within.
func (b *buckets) merge(ms int64, s summary) {
	if ms >= b.lo && ms < b.hi {
		b.sums[(ms-b.lo)/b.step].merge(s)
	}
}

// value adds a value of a series to what it belongs to.
func (h *histories) value(series, ms int64, value float64) {
	for _, b := range h.of[series] {
		var s summary
		s.add(value, b.quantity)
		b.merge(ms, s)
	}
}

// fill takes what is not packed from memory, and what is packed from the readings
// themselves where steps are fine, else from the history.
func (h *histories) fill(t *tx, j *Journal) {
	for id := range h.of {
		for _, m := range j.recent.points[id] {
			h.value(id, m.at, m.value)
		}
	}
	if !h.fine {
		h.fillDays(t)
		return
	}
	for _, c := range chunksWithin(t, h.lo, h.hi) {
		for _, r := range j.readOrPass(t, c) {
			if r.judged() {
				h.value(r.series, r.at(), r.value)
			}
		}
	}
}

// fillDays takes whole days where steps are of whole days, else hours.
func (h *histories) fillDays(t *tx) {
	var ids []string
	for id := range h.of {
		ids = append(ids, strconv.FormatInt(id, 10))
	}
	hours, whole := "hours", h.step%dayMs == 0
	if whole {
		hours = "NULL"
	}
	t.each(func(rows *sql.Rows) error {
		var id, n int64
		var sum summary
		var hours sql.RawBytes
		if err := rows.Scan(&id, &n, &sum.n, &sum.sum, &sum.min, &sum.max, &hours); err != nil {
			return err
		}
		if whole {
			for _, b := range h.of[id] {
				b.merge(n*dayMs, sum)
			}
			return nil
		}
		d, err := decodeDay(hours)
		for i, s := range d {
			for _, b := range h.of[id] {
				b.merge(n*dayMs+int64(i)*hourMs, s)
			}
		}
		return err
	}, `SELECT series, day, n, sum, min, max, `+hours+` FROM history
		WHERE series IN (`+strings.Join(ids, ",")+`) AND day BETWEEN ? AND ?`, dayOf(h.lo), dayOf(h.hi-1))
}

// samples gives those steps that have values; none of no history.
func (b *buckets) samples() (out []farm.Sample) {
	if b == nil {
		return nil
	}
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
