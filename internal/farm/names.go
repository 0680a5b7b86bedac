package farm

import "time"

// Renames are how bins, zones and probes are called now that were called otherwise at
// an earlier time, by their names of then. What keeps its name is left out, and the
// zero value renames nothing.
type Renames struct {
	Bins   map[string]string
	Zones  map[Place]string // by the place of then
	Probes map[string]string
}

// None tells whether nothing is called otherwise.
func (r Renames) None() bool { return len(r.Bins)+len(r.Zones)+len(r.Probes) == 0 }

// Bin gives a bin's name of now.
func (r Renames) Bin(name string) string { return renamed(r.Bins, name) }

// Probe gives a probe's name of now.
func (r Renames) Probe(id string) string { return renamed(r.Probes, id) }

// Place gives the names of now of a bin and its zone.
func (r Renames) Place(p Place) Place {
	zone, ok := r.Zones[p]
	if !ok {
		zone = p.Zone
	}
	return Place{r.Bin(p.Bin), zone}
}

func renamed(names map[string]string, name string) string {
	if now, ok := names[name]; ok {
		return now
	}
	return name
}

// A Called is a stretch of time in which something of the farm had a name, and where
// a probe stood and how it was read.
type Called struct {
	Kind        string    `json:"kind"`                  // "bin", "zone" or "probe"
	ID          int64     `json:"id"`                    // the same for all names of one thing
	Name        string    `json:"name"`                  // of a zone "bin/zone", by the bin's name of now
	Seat        string    `json:"stood_in,omitempty"`    // of a probe: the zone it stood in, as it was called then; "" for none
	Topic       string    `json:"topic,omitempty"`       // of a probe
	Calibration string    `json:"calibration,omitempty"` // of a probe: raw:value, by rising raw number
	Since       time.Time `json:"since,omitzero"`        // zero: since before names were kept
	Until       time.Time `json:"until,omitzero"`        // zero: it still holds
}
