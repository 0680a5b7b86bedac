package notify

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// readings are how the zone or the probe of a change stands, and what was
// believed of it.
func (w writer) readings(c farm.Change) part {
	p := part{Title: "How it stands"}
	z, ok := w.zone(c.Bin, c.Zone)
	if ok {
		p.Rows = append(p.Rows, w.levels(z)...)
		p.Rows = append(p.Rows, worms(z)...)
		for _, said := range z.Unsure(w.now, w.farm.Location) {
			p.Rows = append(p.Rows, [2]string{"Not known", said})
		}
	}
	for _, pv := range w.view.Probes {
		if pv.ID == c.Probe || ok && w.sits(pv.ID, c.Bin, c.Zone) {
			p.Rows = append(p.Rows, [2]string{"Probe " + pv.ID, w.probe(pv)})
		}
	}
	return p
}

// sits tells whether a probe belongs to a zone.
func (w writer) sits(probe, bin, zone string) bool {
	b, ok := w.farm.BinByName(bin)
	if !ok {
		return false
	}
	z, ok := b.ZoneByName(zone)
	return ok && slices.Contains(z.Probes, probe)
}

func (w writer) levels(z farm.ZoneView) [][2]string {
	var rows [][2]string
	for _, q := range farm.Quantities {
		if l := z.Level(q.Name); l != nil {
			rows = append(rows, [2]string{capital(q.Noun), w.level(*l, q.Name, q.Written(w.farm.Units).String)})
		}
	}
	return rows
}

// level writes a level with its bands.
func (w writer) level(l farm.LevelView, q farm.Quantity, say func(float64) string) string {
	beside := func(v float64) string { return l.Say(w.farm.Units, q, v) }
	line := beside(l.Value)
	if ends := l.Ends(beside); ends != "" {
		line += " (" + ends + ")"
	}
	if !l.Fresh {
		line += ", " + farm.SayLong(w.now.Sub(l.At)) + " ago"
	}
	if l.Bands.IsZero() {
		return line
	}
	return fmt.Sprintf("%s (does well at %s, bears %s)", line, span(l.Bands.Thrive, say), span(l.Bands.Survive, say))
}

// span writes a band with its unit once: "15 to 25 °C".
func span(b farm.Band, say func(float64) string) string {
	low, high := say(b.Low), say(b.High)
	number, unit, _ := strings.Cut(high, " ")
	return strings.TrimSuffix(low, " "+unit) + " to " + number + " " + unit
}

// worms says how each species does, those that suffer first.
func worms(z farm.ZoneView) [][2]string {
	names, order := map[string][]string{}, []string(nil)
	for _, word := range []string{"in danger", "slowed", "resting", "thriving"} {
		for _, sp := range z.Species {
			if sp.Word != word {
				continue
			}
			how := sp.Says()
			if names[how] == nil {
				order = append(order, how)
			}
			names[how] = append(names[how], sp.Named())
		}
	}
	var said []string
	for _, how := range order {
		said = append(said, listed(names[how])+" "+how)
	}
	if len(said) == 0 {
		return nil
	}
	return [][2]string{{"Worms", capital(strings.Join(said, "; "))}}
}

// probe says what a probe last said, and whether that was believed.
func (w writer) probe(p farm.ProbeView) string {
	if p.Value == nil || p.At.IsZero() {
		return "has said nothing yet"
	}
	line := w.number(p)
	line += ", " + farm.SayLong(w.now.Sub(p.At)) + " ago"
	if p.Doubt != "" {
		return line + "; not believed: " + p.Doubt
	}
	if len(p.Flags) > 0 {
		line += "; " + strings.Join(p.Flags, ", ")
	}
	return line
}

func (w writer) number(p farm.ProbeView) string {
	if p.Measures != farm.Battery { // that may be in V or in %
		return w.farm.Units.Say(p.Measures, *p.Value)
	}
	spec, _ := w.farm.ProbeByID(p.ID)
	if spec.Unit == farm.Percent {
		return fmt.Sprintf("%.3g %%", *p.Value)
	}
	return fmt.Sprintf("%.3g V", *p.Value)
}

// done are the last lines of the bin's logbook, newest first.
func (w writer) done(ctx context.Context, c farm.Change) part {
	const shown, back = 4, 14 * 24 * time.Hour
	p := part{Title: "What was done"}
	if w.history == nil || c.Bin == "" {
		return p
	}
	jots, err := w.history.Jots(ctx, c.Bin, w.now.Add(-back), w.now)
	if err != nil {
		return p
	}
	for _, j := range slices.Backward(jots) {
		if j.Zone != "" && j.Zone != c.Zone {
			continue
		}
		if p.List = append(p.List, w.jot(j)); len(p.List) == shown {
			break
		}
	}
	return p
}

// jot writes a line of the logbook: "Yesterday about 4 pm: fed about 2 kg of grain".
func (w writer) jot(j farm.Jot) string {
	line := string(j.What)
	switch {
	case j.Kg > 0:
		line += " " + w.farm.Units.Mass(j.Kg)
	case j.Litres > 0:
		line += " " + w.farm.Units.Volume(j.Litres)
	}
	if j.Of != "" {
		line += " of " + j.Of
	}
	if j.To != "" {
		line += " to " + j.To
	}
	return capital(w.time(j.At)) + ": " + line
}
