package journal

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"slices"
	"strings"
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
	e.Elsewhere = all[r.series-1].elsewhere
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
	id        int64
	probe     string
	quantity  farm.Quantity
	places    []place
	after     int64       // its names are those in force after this sequence number
	seat      farm.Place  // the zone among its places
	elsewhere *farm.Place // see [farm.Event]
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
	raw    []series              // by id; raw[i].id is i+1
	all    []series              // the same in the names of now
	names  *register             // of all
	seats  map[string]farm.Place // where probes stand now; nil: that is not known
	active map[string]int64      // probe → series
}

// SetFarm tells the journal which bins, zones and probes there are, what they were
// called before, and where the probes stand. It is called at the start and after each
// reload, before readings of new probes are appended. Readings already kept stay with
// the zone they were measured in, whatever that is called. All of it is one transaction.
func (j *Journal) SetFarm(ctx context.Context, f *farm.Farm) error {
	active := make(map[string]int64, len(f.Probes))
	var said []followed
	err := j.update(ctx, "set farm", func(t *tx) {
		r := j.nameFarm(t, f)
		said = r.said
		all := j.series.under(t, indexed(r.all))
		for _, p := range f.Probes {
			active[p.ID] = enterSeries(t, all, p.ID, p.Measures, placesOf(f, p.ID))
		}
	})
	if err != nil {
		return err
	}
	j.stand(f, active)
	for _, s := range said {
		if s.held == "" {
			j.log.Info("history goes on under another name", "of", s.kind, "was", s.was, "is", s.is)
		} else {
			j.log.Warn("no history follows", "of", s.kind, "was", s.was, "is", s.is, "because", s.held)
		}
	}
	return nil
}

// Under has a journal that is only read give what it holds as it will be under a farm,
// whose names a daemon may not have put in force yet.
func (j *Journal) Under(f *farm.Farm) { j.stand(f, nil) }

func (j *Journal) stand(f *farm.Farm, active map[string]int64) {
	seats := make(map[string]farm.Place, len(f.Probes))
	for _, p := range f.Probes {
		seats[p.ID] = f.ZoneOf(p.ID)
	}
	j.series.mu.Lock()
	j.series.active, j.series.seats, j.series.names = active, seats, nil
	j.series.mu.Unlock()
	j.farm.Store(f)
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

// enterSeries gives the newest series of a probe at its places, or a new one.
func enterSeries(t *tx, all []series, probe string, q farm.Quantity, places []place) (id int64) {
	for _, s := range slices.Backward(all) {
		if s.probe == probe && s.quantity == q && slices.Equal(s.places, places) {
			return s.id
		}
	}
	return t.exec(`INSERT INTO series (probe, quantity, places, after_seq) VALUES (?, ?, ?, ?)`, probe, string(q), asJSON(t, places), t.head.next-1)
}

// loadSeries gives all series of the file by id, in the names of now.
func (j *Journal) loadSeries(t *tx) []series {
	n, s := j.names(t), &j.series
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.names != n {
		s.all, s.names = nil, n
	}
	if s.read(t, j.nameless); len(s.all) < len(s.raw) {
		s.all = nil // others may have copies of it
		for _, raw := range s.raw {
			s.all = append(s.all, n.series(raw))
		}
		s.markElsewhere()
	}
	return s.all
}

// markElsewhere marks what was measured where its probe does not stand now. A farm that
// has put a probe where it never stood supposes that, and means all that it said.
func (s *seriesTable) markElsewhere() {
	type at struct {
		probe string
		seat  farm.Place
	}
	stood := map[at]bool{}
	for _, x := range s.all {
		stood[at{x.probe, x.seat}] = true
	}
	for i := range s.all {
		x := &s.all[i]
		now, known := s.seats[x.probe]
		if x.quantity != "" && x.seat != now && (stood[at{x.probe, now}] || !known && s.seats != nil) {
			x.elsewhere = &x.seat
		}
	}
}

// under gives them in other names, as they are in a transaction that may come to nothing.
func (s *seriesTable) under(t *tx, n *register) (all []series) {
	for _, raw := range collect(t, scanSeries, seriesAfter, 0) {
		all = append(all, n.series(raw))
	}
	return all
}

const seriesAfter = `SELECT id, probe, quantity, places, after_seq FROM series WHERE id > ? ORDER BY id`

// read reads those on from the last one known.
func (s *seriesTable) read(t *tx, nameless bool) {
	query := seriesAfter
	if nameless {
		query = strings.Replace(query, "after_seq", "0", 1)
	}
	for _, m := range collect(t, scanSeries, query, len(s.raw)) {
		if m.id != int64(len(s.raw))+1 {
			t.fail(fmt.Errorf("%w: series %d is missing", ErrDamaged, len(s.raw)+1))
		}
		if t.err != nil {
			return
		}
		s.raw = append(s.raw, m)
	}
}

func scanSeries(s *series, rows *sql.Rows) error {
	var places []byte
	if err := rows.Scan(&s.id, &s.probe, &s.quantity, &places, &s.after); err != nil {
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
	if id = t.number(`SELECT max(id) FROM series WHERE probe = ? AND quantity = '' AND places = '[]'`, e.Reading.Probe); id != 0 {
		return id
	}
	return enterSeries(t, nil, e.Reading.Probe, "", []place{})
}

// forget is for a new file.
func (s *seriesTable) forget() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.raw, s.all, s.names, s.active = nil, nil, nil, nil
}
