package farm

import (
	"fmt"
	"time"
)

// An Unknown is a quantity that a zone's probes measure and of which nothing
// is believed at present.
type Unknown struct {
	Quantity Quantity `json:"quantity"`
	Why      string   `json:"why"` // no reading has come yet, no fresh reading, no reading is believed
}

// A Waiting is a limit that is past, and nothing raised yet: patience, or
// margin and patience of an easing, still run.
type Waiting struct {
	Condition Condition `json:"condition"`
	Urgency   Urgency   `json:"urgency"`   // with which it will be raised
	Since     time.Time `json:"since"`     // when the limit was passed
	RaisedAt  time.Time `json:"raised_at"` // if it stays so
}

// Unsure says, a sentence each, what keeps anybody from saying that all is
// well: readings that don't come in, zones that can't be judged, and limits
// that are past for less than a zone's patience. It is empty when everything
// that is watched is known.
func (v *View) Unsure(loc *time.Location) []string {
	out := v.intakeUnsure(loc)
	if zones := v.zones(); zones > fewZones && v.NothingHeard() {
		return append(out, fmt.Sprintf("None of the %d zones can be judged: no reading has come yet.", zones))
	}
	for _, b := range v.Bins {
		for _, z := range b.Zones {
			for _, said := range z.Unsure(v.At, loc) {
				out = append(out, SayPlace(z.Bin, z.Zone, len(b.Zones) == 1)+" "+said+".")
			}
		}
	}
	return out
}

func (v *View) intakeUnsure(loc *time.Location) []string {
	switch in := v.Intake; {
	case in.Unwritten != nil:
		return []string{fmt.Sprintf("Nothing is judged since %s: the journal can't be written.", SayTime(*in.Unwritten, v.At, loc))}
	case !in.Running:
		return []string{"No daemon is running: this is what the journal says."}
	case !in.Connected && in.Since.IsZero():
		return []string{"The broker has not been heard yet."}
	case !in.Connected:
		return []string{fmt.Sprintf("The broker has not been heard since %s.", SayTime(in.Since, v.At, loc))}
	}
	return nil
}

// fewZones is how many are named one by one while nothing is known of any.
const fewZones = 6

// NothingHeard tells whether no zone has had a reading yet.
func (v *View) NothingHeard() bool {
	for _, b := range v.Bins {
		for _, z := range b.Zones {
			if z.Temperature != nil || z.Moisture != nil {
				return false
			}
		}
	}
	return true
}

func (v *View) zones() int {
	n := 0
	for _, b := range v.Bins {
		n += len(b.Zones)
	}
	return n
}

// Unsure says, each in words that fit after the zone's name, what can't be said
// of a zone at present.
func (z *ZoneView) Unsure(now time.Time, loc *time.Location) []string {
	var out []string
	if z.Unjudged != "" {
		out = append(out, "can't be judged: "+z.Unjudged)
	} else {
		for _, u := range z.Unknown {
			out = append(out, fmt.Sprintf("can't be judged by its %s: %s", u.Quantity, u.Why))
		}
	}
	if z.LidOff != nil && z.LidOff.After(now) {
		return append(out, fmt.Sprintf("was opened and is judged again from %s on", z.LidOff.In(loc).Format("15:04")))
	}
	for _, w := range z.Waiting {
		out = append(out, fmt.Sprintf("has been %s for %s; it is raised at %s if it stays so", w.Says(), SayLong(now.Sub(w.Since)), w.RaisedAt.In(loc).Format("15:04")))
	}
	return out
}

// Says names what a limit is past of: "too dry".
func (w Waiting) Says() string {
	return map[Condition]string{TooHot: "too hot", TooCold: "too cold", TooDry: "too dry", TooWet: "too wet"}[w.Condition]
}
