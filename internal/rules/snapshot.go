package rules

import (
	"bytes"
	"encoding/gob"
	"fmt"

	"binwatchd/internal/farm"
	"binwatchd/internal/trend"
)

// SnapshotVersion names the form and meaning of a snapshot. A snapshot of
// another version is not read; the journal is replayed instead.
const SnapshotVersion = 11

// snapshot is a State on disk. Everything is keyed by the keeper's names, so
// a snapshot taken under one configuration fits another as far as they agree.
type snapshot struct {
	Farm    farmMemory
	Probes  map[string]probeMemory
	Zones   map[subject]zoneMemory
	Levels  map[subject]map[farm.Quantity]levelMemory
	Records map[string]*record       // by key
	Weather map[string]trend.Weather // by room
}

// levelMemory is what is remembered of one quantity of a zone.
type levelMemory struct {
	Level        level
	Day          day
	Settling     settling
	Below, Above hysteresis
}

// Save writes the state.
func (s *State) Save() ([]byte, error) {
	snap := snapshot{
		Farm: s.farmMemory, Probes: map[string]probeMemory{}, Zones: map[subject]zoneMemory{},
		Levels: map[subject]map[farm.Quantity]levelMemory{}, Records: map[string]*record{}, Weather: map[string]trend.Weather{},
	}
	for _, p := range s.probes {
		snap.Probes[p.spec.ID] = p.probeMemory
	}
	for _, z := range s.zones {
		snap.Zones[z.who], snap.Levels[z.who] = z.zoneMemory, map[farm.Quantity]levelMemory{}
		for _, m := range z.measured {
			if !m.At.IsZero() {
				snap.Levels[z.who][m.Name] = levelMemory{m.level, m.day, m.settling, m.below.hysteresis, m.above.hysteresis}
			}
		}
	}
	for _, r := range s.rooms {
		snap.Weather[r.spec.Name] = r.weather
	}
	for _, r := range s.records() {
		if r.Episode != "" {
			snap.Records[key(r.who, r.what)] = r
		}
	}
	var b bytes.Buffer
	if err := gob.NewEncoder(&b).Encode(snap); err != nil {
		return nil, fmt.Errorf("encode snapshot: %w", err)
	}
	return b.Bytes(), nil
}

// Restore makes the state of a farm from a snapshot. What the farm no longer
// has is left behind.
func Restore(f *farm.Farm, data []byte) (*State, error) {
	var snap snapshot
	if err := gob.NewDecoder(bytes.NewReader(data)).Decode(&snap); err != nil {
		return nil, fmt.Errorf("decode snapshot: %w", err)
	}
	s := New(f)
	s.farmMemory = snap.Farm
	for _, p := range s.probes {
		if m, ok := snap.Probes[p.spec.ID]; ok {
			span := p.Level.Span // the program's, not the snapshot's
			p.probeMemory = m
			p.Level.Span = span
		} else {
			p.listen(s.Now)
		}
	}
	for _, z := range s.zones {
		if m, ok := snap.Zones[z.who]; ok {
			z.zoneMemory = m
		}
		for _, m := range z.measured {
			if from, ok := snap.Levels[z.who][m.Name]; ok {
				m.level, m.day, m.settling = from.Level, from.Day, from.Settling
				m.below.hysteresis, m.above.hysteresis = from.Below, from.Above
			}
		}
	}
	for _, r := range s.rooms {
		r.weather = snap.Weather[r.spec.Name]
	}
	for _, r := range s.records() {
		if from := snap.Records[key(r.who, r.what)]; from != nil {
			r.restore(*from)
		}
	}
	return s, nil
}
