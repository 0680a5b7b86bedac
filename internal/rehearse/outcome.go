package rehearse

import (
	"fmt"
	"io"
	"slices"
	"text/tabwriter"
	"time"

	"binwatchd/internal/farm"
)

// An Outcome is what one configuration would have noticed in a recording.
type Outcome struct {
	Name     string        `json:"name"`
	Notices  int64         `json:"notices"` // changes that somebody would be told
	Episodes []Episode     `json:"episodes"`
	Outside  []ZoneOutside `json:"outside_thrive,omitempty"`
	Stats    Stats         `json:"stats"`
}

// An Episode is one condition from its raise to its easing.
type Episode struct {
	Subject
	Worst   farm.Urgency `json:"worst"`
	From    time.Time    `json:"from"`
	To      time.Time    `json:"to,omitzero"` // zero: still raised at the end
	Notices int64        `json:"notices"`     // changes of it that somebody is told
}

// A Subject is which condition an episode is of, and what of.
type Subject struct {
	Bin       string         `json:"bin,omitempty"`
	Zone      string         `json:"zone,omitempty"`
	Probe     string         `json:"probe,omitempty"`
	Quantity  farm.Quantity  `json:"quantity,omitempty"`
	Condition farm.Condition `json:"condition"`
}

// ZoneOutside is how long a zone's levels were outside its thrive bands.
type ZoneOutside struct {
	Bin         string  `json:"bin"`
	Zone        string  `json:"zone"`
	Temperature float64 `json:"temperature_hours"`
	Moisture    float64 `json:"moisture_hours"`
}

// Take notes a change, and whether somebody is told. They come in the order in which they
// were noticed.
func (o *Outcome) Take(ch farm.Change, told bool) {
	of := Subject{ch.Bin, ch.Zone, ch.Probe, ch.Quantity, ch.Condition}
	if ch.Change == farm.Raised {
		o.Episodes = append(o.Episodes, Episode{Subject: of, From: ch.At})
	}
	for i := range slices.Backward(o.Episodes) {
		if e := &o.Episodes[i]; e.Subject == of {
			e.Worst = max(e.Worst, ch.Urgency)
			if ch.Change == farm.Eased {
				e.To = ch.At
			}
			if told {
				e.Notices++
				o.Notices++
			}
			return
		}
	}
}

// outside counts an hour for every level that is outside thrive.
func (o *Outcome) outside(v farm.View) {
	i := 0
	for _, b := range v.Bins {
		for _, z := range b.Zones {
			if i == len(o.Outside) {
				o.Outside = append(o.Outside, ZoneOutside{Bin: z.Bin, Zone: z.Zone})
			}
			o.Outside[i].Temperature += hourOutside(z.Level(farm.Temperature))
			o.Outside[i].Moisture += hourOutside(z.Level(farm.Moisture))
			i++
		}
	}
}

func hourOutside(l *farm.LevelView) float64 {
	if l == nil || !l.Fresh || l.Bands.IsZero() || l.Bands.Thrive.Contains(l.Worst()) {
		return 0
	}
	return 1
}

// Only lists the episodes of a that have no counterpart in b: none of the same
// condition of the same subject that overlaps them.
func Only(a, b Outcome) []Episode {
	var only []Episode
	for _, e := range a.Episodes {
		if !slices.ContainsFunc(b.Episodes, e.meets) {
			only = append(only, e)
		}
	}
	return only
}

func (e Episode) meets(o Episode) bool {
	return e.Subject == o.Subject && (o.To.IsZero() || e.From.Before(o.To)) && (e.To.IsZero() || o.From.Before(e.To))
}

// Compare writes two outcomes side by side, and what only one of them noticed.
func Compare(w io.Writer, a, b Outcome, loc *time.Location) error {
	t := tabwriter.NewWriter(w, 0, 0, 3, ' ', 0)
	writeCounts(t, a, b)
	for i := range max(len(a.Outside), len(b.Outside)) {
		writeOutside(t, a, b, i)
	}
	if err := t.Flush(); err != nil {
		return fmt.Errorf("write comparison: %w", err)
	}
	writeOnly(w, "only "+a.Name, Only(a, b), loc)
	writeOnly(w, "only "+b.Name, Only(b, a), loc)
	return nil
}

func writeCounts(w io.Writer, a, b Outcome) {
	fmt.Fprintf(w, "\t%s\t%s\n", a.Name, b.Name)
	fmt.Fprintf(w, "notices\t%d\t%d\n", a.Notices, b.Notices)
	for _, c := range farm.Conditions {
		if x, y := a.count(c), b.count(c); x+y > 0 {
			fmt.Fprintf(w, "%s\t%d\t%d\n", c, x, y)
		}
	}
}

func (o Outcome) count(c farm.Condition) int {
	n := 0
	for _, e := range o.Episodes {
		if e.Condition == c {
			n++
		}
	}
	return n
}

func writeOutside(w io.Writer, a, b Outcome, i int) {
	var of, x, y ZoneOutside
	if i < len(b.Outside) {
		y = b.Outside[i]
		of = y
	}
	if i < len(a.Outside) {
		x = a.Outside[i]
		of = x
	}
	fmt.Fprintf(w, "%s, hours outside what they like\t%.0f temperature, %.0f moisture\t%.0f temperature, %.0f moisture\n",
		farm.SayPlace(of.Bin, of.Zone, false), x.Temperature, x.Moisture, y.Temperature, y.Moisture)
}

func writeOnly(w io.Writer, title string, episodes []Episode, loc *time.Location) {
	fmt.Fprintf(w, "\n%s\n", title)
	if len(episodes) == 0 {
		fmt.Fprintln(w, "  nothing")
	}
	for _, e := range episodes {
		until := "still raised at the end"
		if !e.To.IsZero() {
			until = "for " + farm.SayLong(e.To.Sub(e.From))
		}
		fmt.Fprintf(w, "  %s (%s), %s\n", e.name(loc), e.Worst, until)
	}
}

const dayAndTime = "2006-01-02 15:04"

// name says when an episode began, and of what it is.
func (e Episode) name(loc *time.Location) string {
	who := farm.SayPlace(e.Bin, e.Zone, false)
	switch {
	case e.Probe != "":
		who = "probe " + e.Probe
	case e.Bin == "":
		who = "the farm"
	}
	return fmt.Sprintf("%s  %s: %s", e.From.In(loc).Format(dayAndTime), who, e.Condition)
}
