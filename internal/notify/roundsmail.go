package notify

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// rounds is the sheet of the care list. It is written when all is well, too:
// a list that stays away would have to be wondered about.
func (w writer) rounds(ctx context.Context, r farm.Rounds) sheet {
	s := sheet{Subject: w.roundsSubject(r), First: r.Opening}
	if s.First == "" {
		s.First = "Nothing to do."
	}
	for _, u := range []farm.Urgency{farm.Now, farm.Today, farm.Soon, farm.Calm} {
		s.add(w.careOf(r, u))
	}
	s.add(part{Title: "Bring", List: r.Bring})
	s.add(part{Title: "Done already", List: r.Done})
	for _, c := range r.Cautions {
		s.add(part{Lines: []string{c}, Careful: true})
	}
	s.add(part{Title: "Not known to be well", List: r.Unsure})
	s.add(part{Title: "Probes", List: r.Probes})
	s.add(part{Title: "Kept quiet", List: r.Hushed})
	s.add(needs(r))
	for _, b := range w.farm.Bins {
		s.add(w.week(ctx, b))
	}
	s.Foot = w.foot()
	return s
}

func (w writer) roundsSubject(r farm.Rounds) string {
	day := w.now.In(w.farm.Location).Format("Mon 2 Jan")
	if len(r.Care) == 0 && len(r.Unsure) > 0 {
		return oneLine(fmt.Sprintf("Rounds, %s: nothing is raised, but not everything is known to be well", day), 160)
	}
	if len(r.Care) == 0 {
		return oneLine(fmt.Sprintf("Rounds, %s: nothing to do", day), 160)
	}
	var where []string
	for _, c := range r.Care {
		if p := carePlace(&w.farm, c); !slices.Contains(where, p) {
			where = append(where, p)
		}
	}
	return oneLine(fmt.Sprintf("Rounds, %s: %s to do: %s", day, things(len(r.Care)), strings.Join(where, "; ")), 160)
}

func carePlace(f *farm.Farm, c farm.Care) string {
	return place(f, farm.Change{Bin: c.Bin, Zone: c.Zone})
}

// careOf lists what has one urgency, in the list's order.
func (w writer) careOf(r farm.Rounds, u farm.Urgency) part {
	title := map[farm.Urgency]string{farm.Now: "Now", farm.Today: "Today", farm.Soon: "Soon", farm.Calm: "While you are there"}[u]
	p := part{Title: title}
	for _, c := range r.Care {
		if c.Urgency != u {
			continue
		}
		line := carePlace(&w.farm, c) + ": " + c.Do
		if c.Why != "" {
			line += " " + bracketed(c.Why)
		}
		if c.Seen {
			line += " Seen."
		}
		p.List = append(p.List, line)
	}
	return p
}

// bracketed puts the reason behind what it is the reason for.
func bracketed(why string) string { return "(" + strings.TrimSuffix(why, ".") + ".)" }

func needs(r farm.Rounds) part {
	p := part{Title: "Castings wanted"}
	for _, n := range r.Needs {
		p.List = append(p.List, n.Text)
	}
	return p
}

// week is a bin's last seven days: two numbers a zone, and one small picture.
func (w writer) week(ctx context.Context, b farm.Bin) part {
	p := part{Title: capital(b.Name) + ": the week"}
	if w.history == nil {
		return p
	}
	for _, z := range b.Zones {
		p.Rows = append(p.Rows, w.weekOf(ctx, b, z)...)
		if len(p.Pictures) == 0 {
			p.Pictures = w.smallPicture(ctx, b.Name, z)
		}
	}
	return p
}

// weekOf is a zone's week in two numbers, each with what it swung between.
func (w writer) weekOf(ctx context.Context, b farm.Bin, z farm.Zone) [][2]string {
	var said []string
	if t, ok := w.mean(ctx, b.Name, z.Name, farm.Temperature); ok {
		u := w.farm.Units
		said = append(said, fmt.Sprintf("%s (%s)", u.Temperature(t.Mean), span(farm.Band{Low: t.Min, High: t.Max}, u.Temperature)))
	}
	if m, ok := w.mean(ctx, b.Name, z.Name, farm.Moisture); ok {
		u := w.farm.Units
		said = append(said, fmt.Sprintf("%s (%s)", u.Moisture(m.Mean), span(farm.Band{Low: m.Min, High: m.Max}, u.Moisture)))
	}
	name := z.Name
	if len(b.Zones) == 1 {
		name = "On average"
	}
	if len(said) == 0 {
		return [][2]string{{capital(name), "no believed reading"}}
	}
	return [][2]string{{capital(name), strings.Join(said, ", ")}}
}

// mean folds a week into one sample, each step weighing the same.
func (w writer) mean(ctx context.Context, bin, zone string, q farm.Quantity) (farm.Sample, bool) {
	samples, err := w.history.Samples(ctx, bin, zone, q, w.now.Add(-7*day), w.now, time.Hour)
	if err != nil {
		return farm.Sample{}, false
	}
	out := farm.Sample{Min: math.Inf(1), Max: math.Inf(-1)}
	for _, s := range samples {
		if s.N == 0 || math.IsNaN(s.Mean) {
			continue
		}
		out.Min, out.Max = min(out.Min, s.Min), max(out.Max, s.Max)
		out.Mean += s.Mean
		out.N++
	}
	if out.N == 0 {
		return out, false
	}
	out.Mean /= float64(out.N)
	return out, true
}

// smallPicture shows what matters most in a zone: the temperature where worms
// live, the moisture elsewhere.
func (w writer) smallPicture(ctx context.Context, bin string, z farm.Zone) []picture {
	order := []farm.Quantity{farm.Moisture, farm.Temperature}
	if z.Aim == farm.Living {
		order = []farm.Quantity{farm.Temperature, farm.Moisture}
	}
	for _, q := range order {
		c, ok := w.chart(ctx, bin, z.Name, pictured{q, 7 * day, 2 * time.Hour})
		if !ok {
			continue
		}
		c.Width, c.Height = 300, 120
		png, err := c.PNG()
		if err != nil {
			continue
		}
		return []picture{{Name: "week-" + hashed(bin, z.Name)[:8] + ".png", Alt: alt(c), PNG: png, Width: 360}}
	}
	return nil
}
