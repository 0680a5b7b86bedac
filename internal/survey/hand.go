package survey

import (
	"cmp"
	"math"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// A Motion is how far a probe has moved since [Survey.Hold]: one that was taken into a
// warm hand, or dipped in water.
type Motion struct {
	Probe    Probe
	From, To float64 // in its unit; To is the furthest
	Beside   []Probe // the others of its device
	times    float64 // how many times over what counts
}

// Apart has every topic proposed by itself, with a name of its own: no named parts.
func (s *Survey) Apart() { s.apart = true }

// Hold begins to watch for what moves from where it is now.
func (s *Survey) Hold() {
	for _, t := range s.topics {
		for _, v := range t.values {
			v.held, v.far = v.now, v.now
		}
	}
}

// Standing lists every proposed probe of temperature or moisture with how far it has moved
// since Hold, by topic. One that has not been heard before it and since has not moved.
func (s *Survey) Standing() (all []Motion) {
	p := s.Propose()
	for i := range p.Probes {
		probe := &p.Probes[i]
		if probe.Measures != farm.Temperature && probe.Measures != farm.Moisture {
			continue
		}
		v := probe.members[0].values[probe.Value]
		m := Motion{Probe: *probe, From: v.held, To: v.far, Beside: beside(p.Probes, i)}
		if m.times = math.Abs(v.far-v.held) / step(probe, v.held); math.IsNaN(m.times) {
			m.times = 0
		}
		all = append(all, m)
	}
	return all
}

// Moved lists the probes that have moved since Hold, the furthest first. Of one device, the
// one that moved furthest stands for those beside it.
func (s *Survey) Moved() (moved []Motion) {
	all := slices.DeleteFunc(s.Standing(), func(m Motion) bool { return m.times < 1 })
	slices.SortStableFunc(all, func(a, b Motion) int { return cmp.Compare(b.times, a.times) })
	for _, m := range all {
		if !slices.ContainsFunc(moved, func(o Motion) bool { return o.has(m.Probe.ID) }) {
			moved = append(moved, m)
		}
	}
	return moved
}

// has tells whether a probe is of the device.
func (m Motion) has(id string) bool {
	return m.Probe.ID == id || slices.ContainsFunc(m.Beside, func(p Probe) bool { return p.ID == id })
}

// What counts as moved: more than a bin does within minutes, less than a hand does, which is
// ten degrees warmer than most bins. Common practice, no source.
const (
	clearKelvin  = 2.0
	clearPercent = 8.0
	clearPart    = 0.1 // of a raw number
)

// step is how far a probe must move to count, in its unit.
func step(p *Probe, from float64) float64 {
	switch {
	case p.Unit == "F":
		return clearKelvin * 9 / 5
	case p.Unit == "C":
		return clearKelvin
	case p.Unit == "%":
		return clearPercent
	case p.Unit == "ratio":
		return clearPercent / 100
	}
	return max(clearPart*math.Abs(from), 1)
}

// beside lists the other probes of a device. Where two of what shares a topic measure the
// same, it is no one device, and nothing stands beside.
func beside(all []Probe, of int) (others []Probe) {
	seen := map[farm.Quantity]bool{}
	device := all[of].device()
	for i, p := range all {
		switch {
		case all[i].device() != device:
		case seen[p.Measures]:
			return nil
		default:
			if seen[p.Measures] = true; i != of {
				others = append(others, p)
			}
		}
	}
	return others
}

// usualPace is what the configuration takes for a probe that says none.
const usualPace = 10 * time.Minute

// Unhurried takes a short pace for none: a device that speaks when something changes does so
// more often in a hand than it does in a bin, and would be missed there.
func (p *Probe) Unhurried() {
	if p.Every > 0 && p.Every < usualPace {
		p.Every, p.why["every"] = usualPace, "it was heard more often, perhaps because it was held"
	}
}

// device is what the values of the probe's device have in common.
func (p *Probe) device() string { return p.deviceOf(p.members[0]) }

func (p *Probe) deviceOf(t *topic) string {
	return cmp.Or(t.device(), deviceOf(t.name, p.Value), t.name)
}
