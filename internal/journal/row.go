package journal

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"slices"
	"sync"

	"binwatchd/internal/farm"
)

// A row is a reading or a tick as it lies on disk, packed or not.
type row struct {
	seq     int64
	arrived int64 // ms
	series  int64 // tickSeries for a tick
	stamp   int64 // at minus arrived, ms
	raw     float64
	value   float64
	marks   int64
}

// The marks of a row, with the doubt above them.
const (
	markConverted = 1 << iota // value differs from raw
	markStamped
	markMisdated
	markUncertain
	markRetained
	doubtShift = iota
)

// at is the time of measurement, ms.
func (r row) at() int64 { return r.arrived + r.stamp }

func (r row) doubt() farm.Doubt { return farm.Doubt(r.marks >> doubtShift) }

// judged tells whether the row belongs into a history: believed, and of a known
// time.
func (r row) judged() bool {
	return r.series != tickSeries && r.doubt() == farm.NoDoubt &&
		r.marks&(markUncertain|markRetained) == 0 && farm.Finite(r.value)
}

// rowOf makes the row of a reading or tick.
func rowOf(e farm.Event, series int64) row {
	r := row{seq: e.Seq, arrived: e.Arrived.UnixMilli(), series: series}
	if e.Kind == farm.EventTick {
		return r
	}
	if !e.Reading.At.IsZero() {
		r.stamp = e.Reading.At.UnixMilli() - r.arrived
	}
	// SQLite knows no minus zero: it becomes zero here, lest it be another number
	// after a restart.
	r.raw, r.value = e.Reading.Raw+0, e.Reading.Value+0
	r.marks = int64(e.Reading.Doubt) << doubtShift
	if !sameNumber(r.value, r.raw) {
		r.marks |= markConverted
	}
	for i, set := range flags(&e.Reading) {
		if *set {
			r.marks |= markStamped << i
		}
	}
	return r
}

// flags are what the marks from markStamped on say, in their order.
func flags(r *farm.Reading) [4]*bool {
	return [...]*bool{&r.Stamped, &r.Misdated, &r.Uncertain, &r.Retained}
}

// sameNumber compares bit by bit, all that are not numbers being alike: replay
// must give back the very value.
func sameNumber(a, b float64) bool {
	return math.Float64bits(a) == math.Float64bits(b) || math.IsNaN(a) && math.IsNaN(b)
}

// event gives the row back as the event it was made of.
func (r row) event(all []series) (farm.Event, error) {
	e := farm.Event{Seq: r.seq, Arrived: instant(r.arrived), Kind: farm.EventTick}
	if r.series == tickSeries {
		return e, nil
	}
	if r.series < 1 || r.series > int64(len(all)) {
		return e, fmt.Errorf("%w: reading of series %d, of which there is none", ErrDamaged, r.series)
	}
	e.Kind = farm.EventReading
	e.Reading = farm.Reading{Probe: all[r.series-1].probe, At: instant(r.at()), Raw: r.raw, Value: r.value, Doubt: r.doubt()}
	for i, set := range flags(&e.Reading) {
		*set = r.marks&(markStamped<<i) != 0
	}
	return e, nil
}

// columns are the arguments of an insert into reading_0 or reading_1.
func (r row) columns(e Entry) []any {
	packet, hash, sender := e.packet()
	args := []any{r.seq, r.arrived, r.series, nil, nil, nil, r.marks, packet, hash, sender}
	if r.stamp != 0 {
		args[3] = r.stamp
	}
	if r.series != tickSeries {
		args[4] = sqlNumber(r.raw)
	}
	if r.marks&markConverted != 0 {
		args[5] = sqlNumber(r.value)
	}
	return args
}

// sqlNumber is a float as SQLite stores it in the fewest bytes: whole numbers as
// integers, NULL for what is not a number.
func sqlNumber(v float64) any {
	switch {
	case math.IsNaN(v):
		return nil
	case v == math.Trunc(v) && math.Abs(v) < 1<<31:
		return int64(v)
	}
	return v
}

const rowColumns = `seq, arrived, series, stamp, raw, value, marks`

func scanRow(r *row, rows *sql.Rows) error {
	var stamp sql.NullInt64
	var raw, value sql.NullFloat64
	if err := rows.Scan(&r.seq, &r.arrived, &r.series, &stamp, &raw, &value, &r.marks); err != nil {
		return err
	}
	r.stamp = stamp.Int64
	if r.series == tickSeries {
		return nil
	}
	r.raw = float(raw)
	r.value = r.raw
	if r.marks&markConverted != 0 {
		r.value = float(value)
	}
	return nil
}

func float(v sql.NullFloat64) float64 {
	if !v.Valid {
		return math.NaN()
	}
	return v.Float64
}

// A series is one probe at its places: what a stored reading names. Once
// written it never changes.
type series struct {
	id       int64
	probe    string
	quantity farm.Quantity
	places   []place
}

// A place is the names of a bin and its zone; the zone "" is the room's air at the bin.
type place [2]string

// tickSeries stands in a reading's series for a tick, which has no probe.
const tickSeries = 0

// seriesTable remembers the series of the file, and which of them each probe
// writes to now. The file only ever gains series, so it is read on from the
// last one known.
type seriesTable struct {
	mu     sync.RWMutex
	all    []series         // by id; all[i].id is i+1
	active map[string]int64 // probe → series
}

// SetFarm tells the journal which probes there are and which zones they are in.
// It is called at the start and after each reload, before readings of new
// probes are appended. Readings already kept stay with the zone they were
// measured in.
func (j *Journal) SetFarm(ctx context.Context, f *farm.Farm) error {
	active := make(map[string]int64, len(f.Probes))
	err := j.update(ctx, "set farm", func(t *tx) {
		for _, p := range f.Probes {
			active[p.ID] = enterSeries(t, p.ID, p.Measures, placesOf(f, p.ID))
		}
	})
	if err != nil {
		return err
	}
	j.series.mu.Lock()
	j.series.active = active
	j.series.mu.Unlock()
	j.farm.Store(f)
	return nil
}

// placesOf lists where a probe is: the zones that name it, and the bins whose
// room it measures.
func placesOf(f *farm.Farm, probe string) []place {
	places := []place{}
	for _, b := range f.Bins {
		if b.Ambient == probe {
			places = append(places, place{b.Name, ""})
		}
		for _, z := range b.Zones {
			if slices.Contains(z.Probes, probe) {
				places = append(places, place{b.Name, z.Name})
			}
		}
	}
	return places
}

// enterSeries gives the series of a probe at its places, new or not.
func enterSeries(t *tx, probe string, q farm.Quantity, places []place) (id int64) {
	text := asJSON(t, places)
	t.exec(`INSERT INTO series (probe, quantity, places) VALUES (?, ?, ?) ON CONFLICT DO NOTHING`, probe, string(q), text)
	return t.number(`SELECT id FROM series WHERE probe = ? AND quantity = ? AND places = ?`, probe, string(q), text)
}

// load gives all series of the file, by id.
func (s *seriesTable) load(t *tx) []series {
	s.mu.Lock()
	defer s.mu.Unlock()
	const more = `SELECT id, probe, quantity, places FROM series WHERE id > ? ORDER BY id`
	for _, m := range collect(t, scanSeries, more, len(s.all)) {
		if m.id != int64(len(s.all))+1 {
			t.fail(fmt.Errorf("%w: series %d is missing", ErrDamaged, len(s.all)+1))
		}
		if t.err != nil {
			return nil
		}
		s.all = append(s.all, m)
	}
	return s.all
}

func scanSeries(s *series, rows *sql.Rows) error {
	var places []byte
	if err := rows.Scan(&s.id, &s.probe, &s.quantity, &places); err != nil {
		return err
	}
	return fromJSON(places, &s.places, "places of series", s.id)
}

// seriesFor finds the series of a reading. A probe that SetFarm did not name is
// still kept, at no place.
func (j *Journal) seriesFor(t *tx, e farm.Event) int64 {
	if e.Kind == farm.EventTick {
		return tickSeries
	}
	j.series.mu.RLock()
	id := j.series.active[e.Reading.Probe]
	j.series.mu.RUnlock()
	if id != 0 {
		return id
	}
	return enterSeries(t, e.Reading.Probe, "", []place{})
}

// forget is for a new file.
func (s *seriesTable) forget() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.all, s.active = nil, nil
}
