package page

import (
	"cmp"
	"net/http"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
)

// apiHelp says in plain text what programs can ask for.
func (p *Page) apiHelp(w http.ResponseWriter, _ *http.Request) error {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	_, _ = w.Write(p.files.static["api.txt"].body)
	return nil
}

func (p *Page) apiNow(w http.ResponseWriter, _ *http.Request) error {
	v, ok := p.cfg.Look()
	if !ok {
		return p.notYet()
	}
	return writeJSON(w, http.StatusOK, v)
}

func (p *Page) apiRounds(w http.ResponseWriter, _ *http.Request) error {
	r, ok := p.cfg.Rounds()
	if !ok {
		return p.notYet()
	}
	return writeJSON(w, http.StatusOK, r)
}

// A historyAnswer is one curve for a program. Values are in the quantity's
// inner unit, °C or % of fresh mass, whatever the farm's units.
type historyAnswer struct {
	Zone     string        `json:"zone"`
	Quantity farm.Quantity `json:"quantity"`
	From     time.Time     `json:"from"`
	To       time.Time     `json:"to"`
	Step     string        `json:"step"`
	Samples  []farm.Sample `json:"samples"`
	step     time.Duration
}

func (p *Page) apiHistory(w http.ResponseWriter, r *http.Request, in fields) error {
	b, z, err := place(p.cfg.Farm(), fields{"bin": in.get("zone")})
	if err != nil {
		return err
	}
	if z == "" {
		if len(b.Zones) > 1 {
			return badInput("The bin %s has several zones: ask for %s/%s.", b.Name, b.Name, b.Zones[0].Name)
		}
		z = b.Zones[0].Name
	}
	ask, err := p.readSpan(in)
	if err != nil {
		return err
	}
	ask.Zone = b.Name + "/" + z
	ask.Samples, err = p.cfg.History.Samples(r.Context(), b.Name, z, ask.Quantity, ask.From, ask.To, ask.step)
	if err != nil {
		return err
	}
	if ask.Samples == nil {
		ask.Samples = []farm.Sample{}
	}
	return writeJSON(w, http.StatusOK, ask)
}

const maxSamples = 5000

// readSpan reads quantity, from, to and step; two days up to now in half-hours
// where nothing is asked.
func (p *Page) readSpan(in fields) (historyAnswer, error) {
	now := p.cfg.Now().UTC()
	a := historyAnswer{Quantity: farm.Quantity(cmp.Or(in.get("quantity"), string(farm.Temperature))), Step: in.get("step")}
	if row := a.Quantity.Row(); !row.Bands && !row.Limits {
		return a, badInput("The quantity is %s, not %q.", levelNames(), a.Quantity)
	}
	var err error
	if a.To, err = apiTime(in, "to", now); err != nil {
		return a, err
	}
	if a.From, err = apiTime(in, "from", a.To.Add(-twoDays.back)); err != nil {
		return a, err
	}
	length := a.To.Sub(a.From)
	if length <= 0 {
		return a, badInput("from must lie before to.")
	}
	if a.Step == "" {
		a.Step = quantity.FormatDuration(usualStep(length))
	}
	a.step, err = quantity.ParseDuration(a.Step)
	switch {
	case err != nil:
		return a, badInput("step is not clear: %v.", err)
	case a.step < time.Minute:
		return a, badInput("step is a minute or longer.")
	case length/a.step > maxSamples:
		return a, badInput("That would be more than %d samples: take a longer step or a shorter time.", maxSamples)
	}
	return a, nil
}

// levelNames lists the quantities that a zone has a level of.
func levelNames() string {
	var names []string
	for _, row := range farm.Quantities {
		if row.Bands || row.Limits {
			names = append(names, string(row.Name))
		}
	}
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " or " + names[last]
}

// usualStep is the step of the page's own pictures for that length.
func usualStep(length time.Duration) time.Duration {
	for _, s := range spans {
		if length <= s.back {
			return s.step
		}
	}
	days := length/(maxSamples*day) + 1
	return days * day
}

func apiTime(in fields, name string, instead time.Time) (time.Time, error) {
	s := in.get(name)
	if s == "" {
		return instead, nil
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil || t.Year() < 2000 || t.Year() > 2200 {
		return instead, badInput("%s is a time like 2027-03-14T09:00:00Z, not %q.", name, s)
	}
	return t.UTC(), nil
}
