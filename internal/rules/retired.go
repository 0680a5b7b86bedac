package rules

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// retired tells whether a probe stands in a zone that is out of use at t, and in no air
// that others share; a battery is when all that it powers are.
func (p *probe) retired(t time.Time) bool {
	if len(p.powers) > 0 {
		return !slices.ContainsFunc(p.powers, func(o *probe) bool { return !o.retired(t) })
	}
	return p.zone != nil && p.zone.spec.IsRetired(t) && !p.air
}

// retire ends what is raised of something that is out of use from a moment on: nothing
// has got better there.
func (s *State) retire(records []*record, at time.Time) {
	for _, r := range records {
		s.emit(r, at, farm.Calm)
	}
}

// retiredSince is when a zone or a probe went out of use; zero: neither has by then.
func retiredSince(z *zone, p *probe, at time.Time) (since time.Time) {
	for p != nil && z == nil && p.retired(at) {
		if z = p.zone; len(p.powers) > 0 {
			z, p = nil, p.powers[0]
		}
	}
	if z != nil && z.spec.IsRetired(at) {
		since = z.spec.Retired
	}
	return since
}

// viewRetired lists the zones that are out of use.
func (s *State) viewRetired(at time.Time) (out []farm.Retired) {
	for _, z := range s.zones {
		if z.spec.IsRetired(at) {
			out = append(out, farm.Retired{Bin: z.who.Bin, Zone: z.who.Zone, Since: z.spec.Retired.UTC()})
		}
	}
	return out
}
