package page

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/jot"
	"binwatchd/internal/quantity"
)

// A raisedView is one raised condition with what to do about it.
type raisedView struct {
	farm.Standing
	Where   farm.Place // in which it is shown; none for what concerns no bin
	Place   string     // the same in words
	When    string     // the forecast, with its interval
	Quiet   string     // hushed until when, or seen; "" when neither
	HushURL string     // "" where nothing can be hushed
	Back    string
	Lasts   string // how long it has been raised; "" at first
	hands
}

// hands say what somebody who looks at a raised condition may do about who looks after it.
type hands struct {
	May  bool // they are known by name, and may take it on
	Mine bool // they have
}

// handsOn are those of the visitor.
func (v *visit) handsOn(by string, until *time.Time) hands {
	_, known := v.Farm.PersonCalled(v.who)
	mine := known && by == v.who && until != nil && until.After(v.now)
	return hands{known && !mine, mine}
}

// Folded tells whether it is one line until it is opened: soon, or quiet.
func (r raisedView) Folded() bool { return r.Quiet != "" || r.Urgency <= farm.Soon }

// viewOf makes the view of one standing condition.
func (v *visit) viewOf(r farm.Standing) raisedView {
	at := v.placeOf(r)
	out := raisedView{Standing: r, Where: at, Place: "The farm", When: sentence(v.interval(r.Forecast)), Back: v.Back}
	if _, ok := v.Farm.BinByName(at.Bin); ok {
		out.Place = v.Farm.SayPlace(at.Bin, at.Zone)
		out.HushURL = address("/hush", "bin", at.Bin, "zone", at.Zone, "condition", r.Condition, "quantity", r.Quantity)
	} else if r.Probe != "" {
		out.Place = "Probe " + r.Probe
	}
	if lasts := v.now.Sub(r.Since); lasts >= time.Minute {
		out.Lasts = farm.SayLong(lasts)
	}
	switch {
	case r.Hushed != nil && r.Hushed.After(v.now):
		out.Quiet = "kept quiet until " + v.Until(*r.Hushed)
	case r.Seen:
		out.Quiet = cmp.Or(r.Known, "you know of it")
		if r.KnownBy == v.who && r.Taken == nil {
			out.Quiet = "you know of it"
		}
	}
	out.hands = v.handsOn(r.KnownBy, r.Taken)
	return out
}

// placeOf is where a standing condition is shown: a probe's in the zone it sits
// in, a whole bin's in its first zone. It is empty for what concerns no bin.
func (v *visit) placeOf(r farm.Standing) farm.Place {
	if r.Bin == "" && r.Probe != "" {
		return v.probePlace(r.Probe)
	}
	if b, ok := v.Farm.BinByName(r.Bin); ok && r.Zone == "" && len(b.Zones) > 0 {
		return farm.Place{Bin: b.Name, Zone: b.Zones[0].Name}
	}
	return farm.Place{Bin: r.Bin, Zone: r.Zone}
}

// probePlace finds the first zone that names a probe, or a battery of it.
func (v *visit) probePlace(id string) farm.Place {
	p, _ := v.Farm.ProbeByID(id)
	for _, b := range v.Farm.Bins {
		for _, z := range b.Zones {
			if slices.ContainsFunc(z.Probes, func(in string) bool { return in == id || slices.Contains(p.Of, in) }) {
				return farm.Place{Bin: b.Name, Zone: z.Name}
			}
		}
	}
	return farm.Place{}
}

// maxHush bounds how long a bin can be kept quiet: longer is forgetting it.
const maxHush = 30 * 24 * time.Hour

// A hushPage asks how long to keep quiet.
type hushPage struct {
	*visit
	farm.Hush
}

// Name is that of the condition to keep quiet about; "" is all of them.
func (h hushPage) Name() string {
	return farm.Standing{Condition: h.Condition, Quantity: h.Quantity}.Is()
}

// hushed reads what a form would hush, without its end.
func (v *visit) hushed() (h farm.Hush, err error) {
	bin, zone, err := v.placeAsked()
	if err != nil {
		return h, err
	}
	h = farm.Hush{Bin: bin.Name, Zone: zone, Condition: farm.Condition(v.in["condition"]), Quantity: farm.Quantity(v.in["quantity"])}
	switch {
	case h.Condition != "" && !slices.Contains(farm.Conditions, h.Condition):
		err = badInput("%q is no condition.", clip(string(h.Condition), 40))
	case h.Quantity != "" && !slices.Contains(farm.QuantityNames(), h.Quantity):
		err = badInput("%q is no quantity.", clip(string(h.Quantity), 40))
	}
	return h, err
}

func (v *visit) showHush() error {
	h, err := v.hushed()
	if err != nil {
		return err
	}
	v.titled("", "Quiet")
	return v.show(http.StatusOK, "hush", hushPage{v, h})
}

// hush keeps quiet about a bin, a zone or one condition for a while.
func (v *visit) hush() error {
	h, err := v.hushed()
	if err != nil {
		return err
	}
	d, err := quantity.ParseDuration(v.in["for"])
	switch {
	case err != nil:
		return badInput("How long is not clear: %v.", err)
	case d < time.Minute || d > maxHush:
		return badInput("It can be kept quiet for a minute to 30 days.")
	}
	h.Until, h.By = v.now.Add(d), v.by()
	said := "Quiet about " + v.Farm.SayPlace(h.Bin, h.Zone) + " for " + farm.SayLong(d) + "."
	return v.act(said, farm.Event{Kind: farm.EventHush, Hush: h})
}

// seen notes that somebody knows of what is raised, of one or of several that share a cause, or
// looks after it until a time.
func (v *visit) seen() error {
	if err := v.look(span{}, ""); err != nil {
		return err
	}
	seen, noted := farm.Seen{By: v.by()}, "Noted that you know"
	if words := v.in["until"]; words != "" {
		if _, known := v.Farm.PersonCalled(v.who); !known {
			return refuse(http.StatusForbidden, "Who looks after it must be known by name: log in as one of the people of the farm.")
		}
		var err error
		if seen.Until, err = jot.Until(v.Farm, words, v.now); err != nil {
			return badInput("%s", sentence(err.Error()))
		}
		noted = "You look after it until " + v.Farm.Dates().Clock(seen.Until, v.now)
		if !seen.Until.After(v.now) {
			noted = "You have given it back"
		}
	}
	var all []farm.Event
	var said string
	for _, id := range strings.Fields(v.in["id"]) {
		if i := slices.IndexFunc(v.raised, func(r raisedView) bool { return r.Episode == id }); i >= 0 {
			said, seen.Episode = v.raised[i].Is(), id
			all = append(all, farm.Event{Kind: farm.EventSeen, Seen: seen})
		}
	}
	switch len(all) {
	case 0:
		return refuse(http.StatusNotFound, "Nothing of that name is raised now; it may be over already.")
	case 1:
	default:
		said = fmt.Sprintf("all %d", len(all))
	}
	return v.act(noted+": "+said+".", all...)
}
