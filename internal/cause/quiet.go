package cause

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// missed is how often in a row a probe has to miss its time to be counted with one that is
// silent by all rules already: they fell silent together.
const missed = 2

// A heard probe is one that has spoken at least once. One that never has, has not fallen silent.
type heard struct {
	spec   farm.Probe
	last   time.Time
	pause  time.Duration
	silent *farm.Standing // nil: not raised yet
}

// gone tells whether the probe has missed its time, so that it may have fallen silent with
// others. One that drops out again and again may be called silent and speak.
func (h *heard) gone(now time.Time) bool {
	quiet := now.Sub(h.last)
	return quiet > missed*h.pause || h.silent != nil && quiet > h.pause
}

// quiet finds what probes share that no longer speak.
func quiet(f *farm.Farm, v *farm.View, raised []farm.Standing) (all []Cause) {
	var probes []*heard
	for _, p := range v.Probes {
		spec, known := f.ProbeByID(p.ID)
		if !known || p.Arrived.IsZero() {
			continue
		}
		h := &heard{spec: spec, last: p.Arrived, pause: pauseOf(spec, p)}
		if i := slices.IndexFunc(raised, func(st farm.Standing) bool { return st.Probe == p.ID }); i >= 0 {
			h.silent = &raised[i]
		}
		probes = append(probes, h)
	}
	longest := time.Duration(0)
	for _, h := range probes {
		if h.silent != nil {
			longest = max(longest, h.pause)
		}
	}
	// One that speaks more seldom is not expected yet, and says nothing about the others.
	var seldom []*heard
	probes = slices.DeleteFunc(probes, func(h *heard) bool {
		yet := !h.gone(v.At) && h.pause > longest
		if yet {
			seldom = append(seldom, h)
		}
		return yet
	})
	gone := slices.DeleteFunc(slices.Clone(probes), func(h *heard) bool { return !h.gone(v.At) })
	add := func(fault Fault, gateway string, of []*heard) bool {
		c := Cause{Key: Key{Kind: Quiet}, Fault: fault, Gateway: gateway, quiet: of, farm: f, view: v}
		for _, h := range of {
			if h.last.After(c.Since) {
				c.Since = h.last
			}
			if h.silent != nil {
				c.Facts = append(c.Facts, *h.silent)
			}
		}
		if len(of) < 2 || len(c.Facts) == 0 {
			return false
		}
		if fault != Together { // what speaks more seldom has not spoken since either
			for _, h := range seldom {
				if !h.last.After(c.Since) && (fault != Gateway || h.spec.Via == gateway) {
					c.quiet = append(c.quiet, h)
				}
			}
		}
		for _, p := range f.Probes { // in the order of the configuration
			if slices.ContainsFunc(c.quiet, func(h *heard) bool { return h.spec.ID == p.ID }) {
				c.Probes = append(c.Probes, p.ID)
			}
		}
		all = append(all, c)
		gone = slices.DeleteFunc(gone, func(h *heard) bool { return slices.Contains(of, h) })
		return true
	}
	switch down := v.Intake.Running && !v.Intake.Connected; {
	case down && add(NoBroker, "", gone):
		return all
	case !down && len(gone) == len(probes) && add(NoProbe, "", slices.Clone(gone)):
		return all
	}
	for _, gateway := range gatewaysOf(probes) {
		through := func(h *heard) bool { return h.spec.Via == gateway }
		if n := count(probes, through); n == count(gone, through) {
			add(Gateway, gateway, slices.DeleteFunc(slices.Clone(gone), func(h *heard) bool { return !through(h) }))
		}
	}
	for _, some := range together(gone) {
		add(Together, "", some)
	}
	return all
}

// Named tells whether words about the cause that were written at a time spoke of a probe
// already, though it was not called silent yet: it had missed its time by then, or all that
// speak as often had.
func (c *Cause) Named(probe string, at time.Time) bool {
	missing := func(h *heard) bool { return at.Sub(h.last) > missed*h.pause }
	longest := time.Duration(0)
	for _, h := range c.quiet {
		if missing(h) {
			longest = max(longest, h.pause)
		}
	}
	whole := c.Fault != Together && !slices.ContainsFunc(c.quiet, func(h *heard) bool { return !missing(h) && h.pause <= longest })
	return longest > 0 && slices.ContainsFunc(c.quiet, func(h *heard) bool { return h.spec.ID == probe && (whole || missing(h)) })
}

func pauseOf(spec farm.Probe, p farm.ProbeView) time.Duration {
	return max(spec.Every, time.Duration(p.PaceS*float64(time.Second)))
}

func gatewaysOf(probes []*heard) (names []string) {
	for _, h := range probes {
		if via := h.spec.Via; via != "" && !slices.Contains(names, via) {
			names = append(names, via)
		}
	}
	return names
}

func count[T any](all []T, meant func(T) bool) (n int) {
	for _, one := range all {
		if meant(one) {
			n++
		}
	}
	return n
}

// together parts probes by when they fell silent. What falls silent with its gateway has spoken
// for the last time within one pause of each other; a single message may have been lost before.
func together(gone []*heard) (groups [][]*heard) {
	left := slices.Clone(gone)
	slices.SortStableFunc(left, func(a, b *heard) int { return b.last.Compare(a.last) })
	for len(left) > 0 {
		newest := left[0].last
		var some []*heard
		left = slices.DeleteFunc(left, func(h *heard) bool {
			with := newest.Sub(h.last) <= h.pause+h.pause/2
			if with {
				some = append(some, h)
			}
			return with
		})
		slices.SortStableFunc(some, func(a, b *heard) int { return slices.Index(gone, a) - slices.Index(gone, b) })
		groups = append(groups, some)
	}
	return groups
}
