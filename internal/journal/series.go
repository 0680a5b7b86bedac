package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"sync"

	"binwatchd/internal/farm"
)

// A series is one probe at its places: what a stored reading names. Once
// written it never changes.
type series struct {
	id       int64
	probe    string
	quantity farm.Quantity
	places   []place
}

// A place is a zone of a bin; the zone "" is the room's air at the bin.
type place struct{ bin, zone string }

// MarshalJSON writes ["bin","zone"].
func (p place) MarshalJSON() ([]byte, error) { return json.Marshal([2]string{p.bin, p.zone}) }

// UnmarshalJSON reads ["bin","zone"].
func (p *place) UnmarshalJSON(b []byte) error {
	var pair [2]string
	err := json.Unmarshal(b, &pair)
	p.bin, p.zone = pair[0], pair[1]
	return err
}

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
	err := j.update(ctx, "set farm", func(tx *tx) error {
		for _, p := range f.Probes {
			id, err := enterSeries(tx, p.ID, p.Measures, placesOf(f, p.ID))
			if err != nil {
				return err
			}
			active[p.ID] = id
		}
		return nil
	})
	if err != nil {
		return err
	}
	j.series.mu.Lock()
	j.series.active = active
	j.series.mu.Unlock()
	j.mu.Lock()
	j.farm = f
	j.mu.Unlock()
	return nil
}

// placesOf lists where a probe is: the zones that name it, and the bins whose
// room it measures.
func placesOf(f *farm.Farm, probe string) []place {
	places := []place{}
	for _, b := range f.Bins {
		if b.Ambient == probe {
			places = append(places, place{bin: b.Name})
		}
		for _, z := range b.Zones {
			if slices.Contains(z.Probes, probe) {
				places = append(places, place{b.Name, z.Name})
			}
		}
	}
	return places
}

func enterSeries(tx *tx, probe string, q farm.Quantity, places []place) (int64, error) {
	text, err := json.Marshal(places)
	if err != nil {
		return 0, err
	}
	if err := tx.exec(`INSERT INTO series (probe, quantity, places) VALUES (?, ?, ?) ON CONFLICT DO NOTHING`,
		probe, string(q), string(text)); err != nil {
		return 0, err
	}
	var id int64
	err = tx.row(`SELECT id FROM series WHERE probe = ? AND quantity = ? AND places = ?`, probe, string(q), string(text)).Scan(&id)
	return id, err
}

// loadTo gives the series of the file when it is known that there are n.
func (s *seriesTable) loadTo(ctx context.Context, db querier, n int) ([]series, error) {
	s.mu.RLock()
	all := s.all
	s.mu.RUnlock()
	if len(all) >= n {
		return all, nil
	}
	return s.load(ctx, db)
}

// load gives all series of the file, by id.
func (s *seriesTable) load(ctx context.Context, db querier) ([]series, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	more, err := collect(ctx, db, scanSeries, `SELECT id, probe, quantity, places FROM series WHERE id > ? ORDER BY id`, len(s.all))
	if err != nil {
		return nil, err
	}
	for _, m := range more {
		if m.id != int64(len(s.all))+1 {
			return nil, fmt.Errorf("%w: series %d is missing", ErrDamaged, len(s.all)+1)
		}
		s.all = append(s.all, m)
	}
	return s.all, nil
}

func scanSeries(rows *sql.Rows) (series, error) {
	var s series
	var places string
	if err := rows.Scan(&s.id, &s.probe, &s.quantity, &places); err != nil {
		return s, err
	}
	if err := json.Unmarshal([]byte(places), &s.places); err != nil {
		return s, fmt.Errorf("%w: places of series %d: %w", ErrDamaged, s.id, err)
	}
	return s, nil
}

// seriesFor finds the series of a reading. A probe that SetFarm did not name is
// still kept, at no place.
func (j *Journal) seriesFor(tx *tx, e farm.Event) (int64, error) {
	if e.Kind == farm.EventTick {
		return tickSeries, nil
	}
	j.series.mu.RLock()
	id := j.series.active[e.Reading.Probe]
	j.series.mu.RUnlock()
	if id != 0 {
		return id, nil
	}
	return enterSeries(tx, e.Reading.Probe, "", []place{})
}

// forget is for a new file.
func (s *seriesTable) forget() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.all, s.active = nil, nil
}

// probeOf names the probe of a series.
func probeOf(all []series, id int64) (string, error) {
	if id < 1 || id > int64(len(all)) {
		return "", fmt.Errorf("%w: reading of series %d, of which there is none", ErrDamaged, id)
	}
	return all[id-1].probe, nil
}
