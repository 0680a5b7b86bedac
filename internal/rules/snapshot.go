package rules

import (
	"bytes"
	"encoding/gob"
	"fmt"
	"slices"

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
		m, seat := p.probeMemory, p.seat()
		m.Seat = &seat
		snap.Probes[p.spec.ID] = m
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

// Restore makes the state of a farm from a snapshot, in which names are those of its
// time. What the farm no longer has is left behind, and what a probe has said in another
// zone.
func Restore(f *farm.Farm, data []byte, since farm.Renames) (*State, error) {
	var snap snapshot
	if err := gob.NewDecoder(bytes.NewReader(data)).Decode(&snap); err != nil {
		return nil, fmt.Errorf("decode snapshot: %w", err)
	}
	snap.rename(since)
	s := New(f)
	s.farmMemory = snap.Farm
	come := map[*probe]bool{} // that were elsewhere, or not there
	for _, p := range s.probes {
		m, ok := snap.Probes[p.spec.ID]
		moved := m.Seat != nil && *m.Seat != p.seat()
		if moved {
			m.leave()
		}
		if come[p] = moved || !ok; ok {
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
			if from, ok := snap.Levels[z.who][m.Name]; ok && m.goesOn(come) {
				m.level, m.day, m.settling = from.Level, from.Day, from.Settling
				m.below.hysteresis, m.above.hysteresis = from.Below, from.Above
			} else if ok && m == z.moist { // another probe has its own zero
				z.Husbandry.Moist.Restart(s.Now)
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

// seat is the zone that a probe stands in; none for the air of a room and for a battery.
func (p *probe) seat() farm.Place {
	if p.zone == nil {
		return farm.Place{}
	}
	return farm.Place{Bin: p.zone.who.Bin, Zone: p.zone.who.Zone}
}

// leave forgets what a probe has said of the place where it was. How it speaks it keeps.
func (m *probeMemory) leave() {
	*m = probeMemory{
		Heard: m.Heard, Said: m.Said, Pace: m.Pace, Spoke: m.Spoke, Gone: m.Gone, GoneSays: m.GoneSays,
		Away: m.Away, Back: m.Back, Drops: m.Drops, Track: trend.NewTrack(),
	}
}

// goesOn tells whether what is known of a level is of a probe that is there still.
func (m *measured) goesOn(come map[*probe]bool) bool {
	return slices.ContainsFunc(m.probes, func(p *probe) bool { return !come[p] })
}

// rename puts the names of now into a snapshot.
func (s *snapshot) rename(since farm.Renames) {
	if since.None() {
		return
	}
	whose := func(w subject) subject {
		at := since.Place(farm.Place{Bin: w.Bin, Zone: w.Zone})
		return subject{at.Bin, at.Zone, since.Probe(w.Probe)}
	}
	probes, zones, levels, records := map[string]probeMemory{}, map[subject]zoneMemory{}, map[subject]map[farm.Quantity]levelMemory{}, map[string]*record{}
	for id, m := range s.Probes {
		for _, r := range []*farm.Reading{&m.Newest, &m.Good, &m.Bad} {
			r.Probe = since.Probe(r.Probe)
		}
		if m.Seat != nil {
			seat := since.Place(*m.Seat)
			m.Seat = &seat
		}
		probes[since.Probe(id)] = m
	}
	for who, m := range s.Zones {
		h := &m.Husbandry
		for _, id := range []*string{&h.Heat.Probe, &h.Cool.Probe, &h.Warm.Probe} {
			*id = since.Probe(*id)
		}
		for _, seen := range h.Sights {
			for i := range seen.Samples {
				seen.Samples[i].Probe = since.Probe(seen.Samples[i].Probe)
			}
		}
		h.Sifts.To = since.Bin(h.Sifts.To)
		zones[whose(who)] = m
	}
	for who, of := range s.Levels {
		for q, m := range of {
			m.Level.Low.Probe, m.Level.High.Probe = since.Probe(m.Level.Low.Probe), since.Probe(m.Level.High.Probe)
			of[q] = m
		}
		levels[whose(who)] = of
	}
	for k, r := range s.Records {
		records[renamedKey(k, whose)] = r
	}
	for i := range s.Farm.Hushes {
		h := &s.Farm.Hushes[i]
		at := since.Place(farm.Place{Bin: h.Bin, Zone: h.Zone})
		h.Bin, h.Zone = at.Bin, at.Zone
	}
	s.Probes, s.Zones, s.Levels, s.Records = probes, zones, levels, records
}
