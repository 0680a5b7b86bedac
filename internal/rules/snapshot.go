package rules

import (
	"bytes"
	"encoding/gob"
	"fmt"
	"time"

	"binwatchd/internal/farm"
)

// SnapshotVersion names the form and meaning of a snapshot. A snapshot of
// another version is not read; the journal is replayed instead.
const SnapshotVersion = 5

// snapshot is a State on disk. Everything is keyed by the keeper's names, so
// a snapshot taken under one configuration fits another as far as they agree.
type snapshot struct {
	Now, Minute time.Time
	Linked      bool
	Since       time.Time
	Hushes      []hushed
	Known       []string
	Siftings    []sifting
	Own         map[farm.Condition]*record
	Probes      map[string]probeMemory
	Zones       map[subject]zoneMemory
}

// Save writes the state.
func (s *State) Save() ([]byte, error) {
	snap := snapshot{
		Now: s.now, Minute: s.minute, Linked: s.linked, Since: s.since, Hushes: s.hushes, Known: s.known, Siftings: s.siftings, Own: s.own,
		Probes: map[string]probeMemory{}, Zones: map[subject]zoneMemory{},
	}
	for _, p := range s.probes {
		snap.Probes[p.spec.ID] = p.probeMemory
	}
	for _, z := range s.zones {
		snap.Zones[z.who] = z.zoneMemory
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
	s.now, s.minute, s.linked, s.since = snap.Now, snap.Minute, snap.Linked, snap.Since
	s.hushes, s.known, s.siftings = snap.Hushes, snap.Known, snap.Siftings
	for c, r := range snap.Own {
		s.own[c] = r
	}
	for _, p := range s.probes {
		if m, ok := snap.Probes[p.spec.ID]; ok {
			p.recall(m)
		} else {
			p.listen(s.now)
		}
	}
	for _, z := range s.zones {
		if m, ok := snap.Zones[z.who]; ok {
			z.recall(m)
		}
	}
	return s, nil
}

// recall takes a probe's memory over. The span of the running median is the
// program's, not the snapshot's.
func (p *probe) recall(m probeMemory) {
	span := p.Level.Span
	p.probeMemory = m
	p.Level.Span = span
}

// recall takes a zone's memory over; conditions a newer program knows keep
// their empty record.
func (z *zone) recall(m zoneMemory) {
	fresh := z.Records
	z.zoneMemory = m
	for c, r := range fresh {
		if z.Records[c] == nil {
			if z.Records == nil {
				z.Records = map[farm.Condition]*record{}
			}
			z.Records[c] = r
		}
	}
}
