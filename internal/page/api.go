package page

import (
	"cmp"
	"net/http"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
)

// apiHelp says in plain text what programs can ask for.
func (v *visit) apiHelp() error {
	help := v.static["api.txt"]
	v.send(http.StatusOK, help.kind, help.body)
	return nil
}

// tells makes an action that tells a program what get gives.
func tells[T any](get func() (T, bool)) action {
	return func(v *visit) error {
		data, ok := get()
		if !ok {
			return v.notYet()
		}
		return v.showJSON(http.StatusOK, data)
	}
}

// apiRounds tells a program the rounds, or somebody's part of them.
func (v *visit) apiRounds() error {
	of := v.in["of"]
	if _, known := v.Farm.PersonCalled(of); !known && of != "" {
		return refuse(http.StatusNotFound, "Nobody of that name looks after the farm.")
	}
	return tells(func() (farm.Rounds, bool) { return v.cfg.Rounds(of) })(v)
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
}

func (v *visit) apiHistory() error {
	b, z, err := v.place(v.in["zone"])
	if err != nil {
		return err
	}
	if z == "" {
		if len(b.Zones) > 1 {
			return badInput("The bin %s has several zones: ask for %s/%s.", b.Name, b.Name, b.Zones[0].Name)
		}
		z = b.Zones[0].Name
	}
	ask := historyAnswer{Zone: b.Name + "/" + z, Samples: []farm.Sample{}}
	step, err := v.readSpan(&ask)
	if err != nil {
		return err
	}
	samples, err := v.cfg.History.Samples(v.r.Context(), b.Name, z, ask.Quantity, ask.From, ask.To, step)
	if err != nil {
		return err
	}
	ask.Samples = append(ask.Samples, samples...)
	return v.showJSON(http.StatusOK, ask)
}

const maxSamples = 5000

// readSpan reads quantity, from, to and step; two days up to now in half-hours
// where nothing is asked.
func (v *visit) readSpan(a *historyAnswer) (step time.Duration, err error) {
	a.Quantity = farm.Quantity(cmp.Or(v.in["quantity"], string(farm.Temperature)))
	if levels := levelNames(); !slices.Contains(levels, string(a.Quantity)) {
		last := len(levels) - 1
		return 0, badInput("The quantity is %s or %s, not %q.", strings.Join(levels[:last], ", "), levels[last], a.Quantity)
	}
	if a.To, err = v.readTime("to", v.now.UTC()); err != nil {
		return 0, err
	}
	if a.From, err = v.readTime("from", a.To.Add(-twoDays.back)); err != nil {
		return 0, err
	}
	length := a.To.Sub(a.From)
	if length <= 0 {
		return 0, badInput("from must lie before to.")
	}
	a.Step = cmp.Or(v.in["step"], quantity.FormatDuration(usualStep(length)))
	step, err = quantity.ParseDuration(a.Step)
	switch {
	case err != nil:
		return 0, badInput("step is not clear: %v.", err)
	case step < time.Minute:
		return 0, badInput("step is a minute or longer.")
	case length/step > maxSamples:
		return 0, badInput("That would be more than %d samples: take a longer step or a shorter time.", maxSamples)
	}
	return step, nil
}

// levelNames are the quantities that a zone has a level of.
func levelNames() (names []string) {
	for _, row := range farm.Quantities {
		if row.Bands || row.Limits {
			names = append(names, string(row.Name))
		}
	}
	return names
}

// usualStep is the step of the page's own pictures for that length.
func usualStep(length time.Duration) time.Duration {
	for _, s := range spans {
		if length <= s.back {
			return s.step
		}
	}
	return (length/(maxSamples*day) + 1) * day
}

func (v *visit) readTime(name string, instead time.Time) (time.Time, error) {
	s := v.in[name]
	if s == "" {
		return instead, nil
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil || t.Year() < 2000 || t.Year() > 2200 {
		return t, badInput("%s is a time like 2027-03-14T09:00:00Z, not %q.", name, s)
	}
	return t.UTC(), nil
}
