package page

import (
	"crypto/rand"
	"net/http"
	"net/url"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
)

// A raisedView is one raised condition with what to do about it.
type raisedView struct {
	farm.Standing
	Do         string
	When       string // the forecast, with its interval
	Since      string
	Quiet      string // hushed until when, or seen; "" when neither
	Folded     bool   // one line until it is opened: soon, or quiet
	Once, Back string
	HushURL    string // "" where nothing can be hushed
	Place      string
	Anchor     string
}

// raised makes the view of one standing condition.
func (s *scene) raised(r farm.Standing) raisedView {
	bin, zone := s.placeOf(r)
	out := raisedView{
		Standing: r, Since: s.age(r.Since), Once: rand.Text(), Back: s.back, Anchor: anchor(bin, zone), Place: "The farm",
	}
	if b, ok := s.farm.BinByName(bin); ok {
		out.Place, out.HushURL = placeName(b, zone), hushURL(bin, zone, r.Condition, r.Quantity)
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
	p, _ := f.ProbeByID(id)
	for _, b := range f.Bins {
		for _, z := range b.Zones {
			if slices.ContainsFunc(z.Probes, func(in string) bool { return in == id || slices.Contains(p.Of, in) }) {
				return b.Name, z.Name
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

// maxHush bounds how long a bin can be kept quiet: longer is forgetting it.
const maxHush = 30 * 24 * time.Hour

type hushPage struct {
	shell
	farm.Hush
	Place, Name string
	Once, Back  string
	Choices     []hushChoice
}

type hushChoice struct{ For, Says string }

var hushChoices = []hushChoice{
	{"2h", "2 hours"}, {"12h", "12 hours"}, {"1d", "a day"}, {"3d", "3 days"}, {"7d", "a week"},
}

// hushed reads what a form would hush, without its end.
func (p *Page) hushed(in fields) (h farm.Hush, bin farm.Bin, err error) {
	bin, zone, err := place(p.cfg.Farm(), in)
	if err != nil {
		return h, bin, err
	}
	h = farm.Hush{Bin: bin.Name, Zone: zone, Condition: farm.Condition(in.get("condition")), Quantity: farm.Quantity(in.get("quantity"))}
	switch {
	case h.Condition != "" && !slices.Contains(farm.Conditions, h.Condition):
		err = badInput("%q is no condition.", clip(string(h.Condition), 40))
	case h.Quantity != "" && !slices.Contains(farm.QuantityNames(), h.Quantity):
		err = badInput("%q is no quantity.", clip(string(h.Quantity), 40))
	}
	return h, bin, err
}

func (p *Page) showHush(w http.ResponseWriter, r *http.Request, in fields) error {
	h, bin, err := p.hushed(in)
	if err != nil {
		return err
	}
	page := hushPage{
		shell: p.shell(w, r, "", "Hush"), Hush: h, Place: placeName(bin, h.Zone),
		Name: farm.Standing{Condition: h.Condition, Quantity: h.Quantity}.Is(), Once: rand.Text(), Back: "/", Choices: hushChoices,
	}
	return p.show(w, http.StatusOK, "hush", page)
}

// hush keeps quiet about a bin, a zone or one condition for a while.
func (p *Page) hush(w http.ResponseWriter, r *http.Request, in fields) error {
	h, bin, err := p.hushed(in)
	if err != nil {
		return err
	}
	d, err := quantity.ParseDuration(in.get("for"))
	switch {
	case err != nil:
		return badInput("How long is not clear: %v.", err)
	case d < time.Minute || d > maxHush:
		return badInput("A hush lasts from a minute to 30 days.")
	}
	h.Until = p.cfg.Now().Add(d)
	said := "Quiet about " + placeName(bin, h.Zone) + " for " + farm.SayLong(d) + "."
	return p.act(w, r, in, farm.Event{Kind: farm.EventHush, Hush: h}, said)
}

func hushURL(bin, zone string, c farm.Condition, q farm.Quantity) string {
	values := url.Values{"bin": {bin}, "condition": {string(c)}}
	if zone != "" {
		values.Set("zone", zone)
	}
	if q != "" {
		values.Set("quantity", string(q))
	}
	return "/hush?" + values.Encode()
}

// seen notes that the keeper knows of a raised condition.
func (p *Page) seen(w http.ResponseWriter, r *http.Request, in fields) error {
	v, ok := p.cfg.Look()
	if !ok {
		return p.notYet()
	}
	id := in.get("id")
	i := slices.IndexFunc(v.Standing, func(s farm.Standing) bool { return s.Episode == id })
	if id == "" || i < 0 {
		return refuse(http.StatusNotFound, "Nothing of that name is raised now; it may be over already.")
	}
	said := "Noted that you know: " + v.Standing[i].Is() + "."
	return p.act(w, r, in, farm.Event{Kind: farm.EventSeen, Seen: farm.Seen{Episode: id}}, said)
}
