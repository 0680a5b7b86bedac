package page

import (
	"crypto/rand"
	"slices"

	"binwatchd/internal/farm"
)

// A raisedView is one raised condition with what to do about it.
type raisedView struct {
	Urgency    farm.Urgency
	Name, Text string
	Do         string
	When       string // the forecast, with its interval
	Since      string
	Cautions   []string
	Quiet      string // hushed until when, or seen; "" when neither
	Seen       bool
	Folded     bool // one line until it is opened: soon, or quiet
	Episode    string
	Once, Back string
	HushURL    string // "" where nothing can be hushed
	Place      string
	Anchor     string
}

// raised makes the view of one standing condition.
func (s *scene) raised(r farm.Standing) raisedView {
	bin, zone := s.placeOf(r)
	out := raisedView{
		Urgency: r.Urgency, Name: r.Condition.Row().Is, Text: r.Text, Since: s.age(r.Since),
		Cautions: r.Cautions, Seen: r.Seen, Episode: r.Episode, Once: rand.Text(), Back: s.back,
		Anchor: anchor(bin, zone), Place: "The farm",
	}
	if b, ok := s.farm.BinByName(bin); ok {
		out.Place, out.HushURL = placeName(b, zone), hushURL(bin, zone, r.Condition)
	} else if r.Probe != "" {
		out.Place = "Probe " + r.Probe
	}
	if r.Advice != nil {
		out.Do = r.Advice.Do
	}
	if r.Forecast != nil {
		out.When = sentence(s.interval(*r.Forecast))
	}
	switch {
	case r.Hushed != nil && r.Hushed.After(s.now):
		out.Quiet = "hushed until " + s.until(*r.Hushed)
	case r.Seen:
		out.Quiet = "you know of it"
	}
	out.Folded = out.Quiet != "" || r.Urgency <= farm.Soon
	return out
}

// placeOf is where a standing condition is shown: a probe's in the zone it sits
// in, a whole bin's in its first zone. Both are empty for what concerns no bin.
func (s *scene) placeOf(r farm.Standing) (bin, zone string) {
	if r.Bin == "" && r.Probe != "" {
		return probePlace(s.farm, r.Probe)
	}
	if b, ok := s.farm.BinByName(r.Bin); ok && r.Zone == "" && len(b.Zones) > 0 {
		return b.Name, b.Zones[0].Name
	}
	return r.Bin, r.Zone
}

// probePlace finds the first zone that names a probe, or a battery of it.
func probePlace(f *farm.Farm, id string) (bin, zone string) {
	ids := map[string]bool{id: true}
	if p, ok := f.ProbeByID(id); ok {
		for _, of := range p.Of {
			ids[of] = true
		}
	}
	for _, b := range f.Bins {
		for _, z := range b.Zones {
			for _, probe := range z.Probes {
				if ids[probe] {
					return b.Name, z.Name
				}
			}
		}
	}
	return "", ""
}

func (s *scene) isRaised(z farm.ZoneView, c farm.Condition) bool {
	return slices.ContainsFunc(s.view.Standing, func(r farm.Standing) bool {
		return r.Bin == z.Bin && r.Zone == z.Zone && r.Condition == c
	})
}
