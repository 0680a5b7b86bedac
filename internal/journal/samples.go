package journal

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
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
func (j *Journal) Samples(ctx context.Context, bin, zone string, q farm.Quantity, from, to time.Time, step time.Duration) ([]farm.Sample, error) {
	at := place{bin, zone}
	return j.samples(ctx, from, to, step, func(s series) bool {
		return s.quantity == q && slices.Contains(s.places, at)
	})
}

// ProbeSamples gives the history of one probe, wherever it was, as Samples does.
func (j *Journal) ProbeSamples(ctx context.Context, probe string, from, to time.Time, step time.Duration) ([]farm.Sample, error) {
	return j.samples(ctx, from, to, step, func(s series) bool { return s.probe == probe && s.quantity != "" })
}

func (j *Journal) samples(ctx context.Context, from, to time.Time, step time.Duration, wanted func(series) bool) ([]farm.Sample, error) {
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
	var out []farm.Sample
	err := j.view(ctx, "read history", func(t *sql.Tx) error {
		p, err := readPulse(ctx, t)
		if err != nil {
			return err
		}
		all, err := j.series.loadTo(ctx, t, p.series)
		if err != nil {
			return err
		}
		ids := pick(all, wanted)
		if len(ids) == 0 {
			return nil
		}
		if err := j.recent.refresh(ctx, t, p); err != nil {
			return err
		}
		g := newGathering(from.UnixMilli(), to.UnixMilli(), step.Milliseconds(), p.dropped)
		g.journal, g.quantity = j, all[ids[0]-1].quantity
		if err := g.gather(ctx, t, ids, &j.recent); err != nil {
			return err
		}
		out = g.samples()
		return nil
	})
	return out, err
}

// usualStep gives a step of which about 300 fill the time.
func usualStep(long time.Duration) time.Duration {
	const day = 24 * time.Hour
	for _, s := range []time.Duration{5 * time.Minute, 10 * time.Minute, 30 * time.Minute, time.Hour, 2 * time.Hour, 6 * time.Hour, 12 * time.Hour, day, 2 * day} {
		if long <= 400*s {
			return s
		}
	}
	return 7 * day
}

func pick(all []series, wanted func(series) bool) []int64 {
	var ids []int64
	for _, s := range all {
		if wanted(s) {
			ids = append(ids, s.id)
		}
	}
	return ids
}

// A gathering sorts values into steps.
type gathering struct {
	lo, hi, step int64 // ms; whole steps
	fine         bool  // steps under an hour, from raw readings
	quantity     farm.Quantity
	folds        []fold
	journal      *Journal
}

func newGathering(from, to, step, dropped int64) *gathering {
	g := &gathering{fine: step < hourMs, step: step}
	if g.fine && from < dropped {
		g.fine, g.step = false, hourMs
	}
	g.lo = floorDiv(from-1, g.step)*g.step + g.step
	g.hi = floorDiv(to-1, g.step)*g.step + g.step
	g.folds = make([]fold, max(0, g.hi-g.lo)/g.step)
	return g
}

// at gives the step that a time falls into; nil when it is outside.
func (g *gathering) at(ms int64) *fold {
	if ms < g.lo || ms >= g.hi {
		return nil
	}
	return &g.folds[(ms-g.lo)/g.step]
}

func (g *gathering) add(ms int64, value float64) {
	f := g.at(ms)
	if f == nil {
		return
	}
	if v, ok := steps(value, g.quantity); ok {
		f.add(v)
	}
}

func (g *gathering) gather(ctx context.Context, q querier, ids []int64, r *recent) error {
	for _, id := range ids {
		for _, m := range r.points[id] {
			g.add(m.at, m.value)
		}
	}
	if g.fine {
		return g.gatherPacked(ctx, q, ids)
	}
	for _, id := range ids {
		if err := g.gatherDays(ctx, q, id); err != nil {
			return err
		}
	}
	return nil
}

// gatherPacked takes the packed readings themselves.
func (g *gathering) gatherPacked(ctx context.Context, q querier, ids []int64) error {
	return g.journal.eachPacked(ctx, q, g.lo, g.hi, func(r row) {
		if r.judged() && slices.Contains(ids, r.series) {
			g.add(r.at(), r.value)
		}
	})
}

// gatherDays takes the folded history: whole days where steps are of whole
// days, else hours.
func (g *gathering) gatherDays(ctx context.Context, q querier, id int64) error {
	if g.step%dayMs == 0 {
		return g.gatherWholeDays(ctx, q, id)
	}
	rows, err := q.QueryContext(ctx, `SELECT day, hours FROM history WHERE series = ? AND day >= ? AND day <= ?`, id, dayOf(g.lo), dayOf(g.hi-1))
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var n int64
		var b sql.RawBytes
		if err := rows.Scan(&n, &b); err != nil {
			return err
		}
		d, err := decodeDay(b)
		if err != nil {
			return err
		}
		for h, f := range d {
			if s := g.at(n*dayMs + int64(h)*hourMs); s != nil {
				s.merge(f)
			}
		}
	}
	return rows.Err()
}

func (g *gathering) gatherWholeDays(ctx context.Context, q querier, id int64) error {
	rows, err := q.QueryContext(ctx, `SELECT day, n, sum, min, max FROM history WHERE series = ? AND day >= ? AND day <= ?`, id, dayOf(g.lo), dayOf(g.hi-1))
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var n int64
		var f fold
		if err := rows.Scan(&n, &f.n, &f.sum, &f.min, &f.max); err != nil {
			return err
		}
		if s := g.at(n * dayMs); s != nil {
			s.merge(f)
		}
	}
	return rows.Err()
}

func (g *gathering) samples() []farm.Sample {
	var out []farm.Sample
	for i, f := range g.folds {
		if f.n > 0 {
			out = append(out, f.sample(g.lo+int64(i)*g.step, g.quantity))
		}
	}
	return out
}
