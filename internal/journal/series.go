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

// enterSeries gives the series of a probe at its places, new or not.
func enterSeries(t *tx, probe string, q farm.Quantity, places []place) (id int64) {
	text := asJSON(t, places)
	t.exec(`INSERT INTO series (probe, quantity, places) VALUES (?, ?, ?) ON CONFLICT DO NOTHING`, probe, string(q), text)
	return t.number(`SELECT id FROM series WHERE probe = ? AND quantity = ? AND places = ?`, probe, string(q), text)
}

// loadTo gives the series of the file when it is known that there are n.
func (s *seriesTable) loadTo(t *tx, n int) []series {
	s.mu.RLock()
	all := s.all
	s.mu.RUnlock()
	if len(all) >= n {
		return all
	}
	return s.load(t)
}

// load gives all series of the file, by id.
func (s *seriesTable) load(t *tx) []series {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, m := range collect(t, scanSeries, `SELECT id, probe, quantity, places FROM series WHERE id > ? ORDER BY id`, len(s.all)) {
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

func scanSeries(rows *sql.Rows) (s series, err error) {
	var places []byte
	if err := rows.Scan(&s.id, &s.probe, &s.quantity, &places); err != nil {
		return s, err
	}
	if err := json.Unmarshal(places, &s.places); err != nil {
		return s, fmt.Errorf("%w: places of series %d: %w", ErrDamaged, s.id, err)
	}
	return s, nil
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

// probeOf names the probe of a series.
func probeOf(all []series, id int64) (string, error) {
	if id < 1 || id > int64(len(all)) {
		return "", fmt.Errorf("%w: reading of series %d, of which there is none", ErrDamaged, id)
	}
	return all[id-1].probe, nil
}
