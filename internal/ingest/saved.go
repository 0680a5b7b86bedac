package ingest

import (
	"encoding/json"
	"fmt"
	"hash/fnv"
	"math"

	"binwatchd/internal/farm"
)

// savedVersion changes when a saved state no longer means the same.
const savedVersion = 2

// A saved state is what Save writes: JSON, keyed by the probes' ids.
type saved struct {
	Version int                   `json:"version"`
	Tracks  map[string]savedTrack `json:"tracks"`
	Pairs   []savedPair           `json:"pairs,omitempty"`
}

type savedTrack struct {
	Of uint64 `json:"of"` // print of the probe's configuration
	track
}

type savedPair struct {
	A string `json:"a"`
	B string `json:"b"`
	pair
}

// Save writes what is known of the probes, the same bytes for the same state.
func (d *Doubter) Save() ([]byte, error) {
	s := saved{Version: savedVersion, Tracks: make(map[string]savedTrack, len(d.tracks))}
	for i, t := range d.tracks {
		s.Tracks[d.farm.Probes[i].ID] = savedTrack{fingerprint(d.farm.Probes[i]), t}
	}
	for _, p := range d.pairs {
		s.Pairs = append(s.Pairs, savedPair{d.farm.Probes[p.a].ID, d.farm.Probes[p.b].ID, p})
	}
	b, err := json.Marshal(s)
	if err != nil {
		return nil, fmt.Errorf("save doubts: %w", err)
	}
	return b, nil
}

// Load replaces what is known by what Save wrote. Probes that are no longer
// there are dropped, and those that measure otherwise than they did begin
// anew. After an error nothing is known.
func (d *Doubter) Load(b []byte) error {
	clear(d.tracks)
	for k := range d.pairs {
		d.pairs[k] = pair{a: d.pairs[k].a, b: d.pairs[k].b}
	}
	var s saved
	if err := json.Unmarshal(b, &s); err != nil {
		return fmt.Errorf("load doubts: %w", err)
	}
	if s.Version != savedVersion {
		return fmt.Errorf("load doubts: version %d, not %d", s.Version, savedVersion)
	}
	for i, p := range d.farm.Probes {
		if t, ok := s.Tracks[p.ID]; ok && t.Of == fingerprint(p) && t.sound() {
			d.tracks[i] = t.track
		}
	}
	for _, p := range s.Pairs {
		d.loadPair(p)
	}
	return nil
}

// loadPair takes in a pair of twins that are twins still and both known.
func (d *Doubter) loadPair(s savedPair) {
	a, okA := d.index[s.A]
	b, okB := d.index[s.B]
	if !okA || !okB || d.tracks[a].Last == 0 || d.tracks[b].Last == 0 {
		return
	}
	for k := range d.pairs {
		if p := &d.pairs[k]; p.a == a && p.b == b {
			s.pair.a, s.pair.b = a, b
			if *p = s.pair; p.Lately == 0 { // saved before that was kept
				p.Lately = p.Usual
			}
		}
	}
}

// sound tells whether a saved track can be worked with.
func (t *track) sound() bool {
	return t.N >= 0 && t.N <= windowSize && t.Last >= 0 && (t.Prior == nil || t.Prior.Prior == nil && t.Prior.sound())
}

// fingerprint stands for what a probe's numbers mean. When it changes, the
// past says nothing of the future.
func fingerprint(p farm.Probe) uint64 {
	h := fnv.New64a()
	fmt.Fprintf(h, "%q %q %s %s", p.Topic, p.Value, p.Measures, p.Unit)
	for _, c := range p.Calibration {
		fmt.Fprintf(h, " %x %x", math.Float64bits(c.Raw), math.Float64bits(c.Value))
	}
	return h.Sum64()
}
