package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

func nowCommand() command {
	c := command{name: "now", usage: "--config FILE [--json]", does: "shows each zone: readings, species, conditions, forecasts, doubts"}
	c.run = func(ctx context.Context, args []string, io *streams) error {
		fs := flag.NewFlagSet(c.name, flag.ContinueOnError)
		asJSON := fs.Bool("json", false, "write one JSON object")
		cfg, _, err := configured(c, fs, args, noWords, io)
		if err != nil {
			return err
		}
		v, err := view(ctx, cfg)
		if err != nil {
			return err
		}
		if *asJSON {
			return writeJSON(io.out, v)
		}
		printView(io.out, v, cfg.Farm.Location)
		return nil
	}
	return c
}

func writeJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	if err := enc.Encode(v); err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	return nil
}

// printView writes a view for a person.
func printView(w io.Writer, v farm.View, loc *time.Location) {
	fmt.Fprintf(w, "%s, %s\n", v.Farm, v.At.In(loc).Format("Monday 2 January 2006, 15:04"))
	printIntake(w, v, loc)
	printPassing(w, v, loc)
	for _, s := range v.Standing {
		if s.Bin == "" && s.Probe == "" {
			printStanding(w, s)
		}
	}
	for _, b := range v.Bins {
		for _, z := range b.Zones {
			fmt.Fprintf(w, "\n%s (%s)\n", farm.SayPlace(z.Bin, z.Zone, len(b.Zones) == 1), z.Aim)
			printZone(w, z, v, loc)
		}
	}
	printProbes(w, v, loc)
}

func printIntake(w io.Writer, v farm.View, loc *time.Location) {
	in := v.Intake
	switch {
	case !in.Running:
		fmt.Fprintln(w, "No daemon is running; this is what the journal says.")
	case in.Unwritten != nil:
		fmt.Fprintf(w, "The journal can't be written since %s: %s. Nothing is judged meanwhile.\n", farm.SayTime(*in.Unwritten, v.At, loc), in.Why)
	case !in.Connected:
		fmt.Fprintln(w, "The broker is not connected.")
	}
	if len(in.Messages) > 0 {
		fmt.Fprintf(w, "Messages: %s\n", counted(in.Messages))
	}
}

func printPassing(w io.Writer, v farm.View, loc *time.Location) {
	if v.Passing == nil || v.Passing.Refusals == 0 {
		return
	}
	fmt.Fprintf(w, "Rows that the database has refused for good: %d. The newest:\n", v.Passing.Refusals)
	for _, r := range v.Passing.Newest {
		fmt.Fprintf(w, "  %s: %s: %s\n", farm.SayTime(r.At, v.At, loc), r.Reason, r.Line)
	}
}

// counted lists counts by name.
func counted(m map[string]int64) string {
	var parts []string
	for _, k := range slices.Sorted(maps.Keys(m)) {
		parts = append(parts, fmt.Sprintf("%s %d", k, m[k]))
	}
	return strings.Join(parts, ", ")
}

func printZone(w io.Writer, z farm.ZoneView, v farm.View, loc *time.Location) {
	for _, said := range z.Unsure(v.At, loc) {
		fmt.Fprintf(w, "  %s\n", said)
	}
	for _, q := range farm.Quantities {
		printLevel(w, q, z.Level(q.Name), v)
	}
	for _, s := range z.Species {
		fmt.Fprintf(w, "  %s %s, activity %.0f %%\n", s.Named(), s.Says(), 100*s.Activity)
	}
	for _, f := range z.Food {
		fmt.Fprintf(w, "  food of %s: %.0f %% left\n", f.At.Format("2 January"), 100*f.LeftPart)
	}
	if z.StoredL > 0 {
		fmt.Fprintf(w, "  holds %s of castings\n", v.Units.Volume(z.StoredL))
	}
	for _, s := range v.Standing {
		if s.Bin == z.Bin && s.Zone == z.Zone && s.Probe == "" {
			printStanding(w, s)
		}
	}
	for _, o := range z.Outlook {
		fmt.Fprintf(w, "  %s\n", o.Text)
	}
}

func printLevel(w io.Writer, q farm.QuantityRow, l *farm.LevelView, v farm.View) {
	if l == nil {
		return
	}
	beside, say := func(x float64) string { return l.Say(v.Units, q.Name, x) }, q.Written(v.Units).String
	fmt.Fprintf(w, "  %s %s", q.Noun, beside(l.Value))
	if ends := l.Ends(beside); ends != "" {
		fmt.Fprintf(w, " (%s)", ends)
	}
	if !l.Bands.IsZero() {
		fmt.Fprintf(w, ", does well from %s to %s", say(l.Bands.Thrive.Low), say(l.Bands.Thrive.High))
	}
	if age := v.At.Sub(l.At); !l.Fresh {
		fmt.Fprintf(w, ", %s old", farm.SayLong(age))
	}
	fmt.Fprintln(w)
}

func printStanding(w io.Writer, s farm.Standing) {
	fmt.Fprintf(w, "  %s: %s", strings.ToUpper(s.Urgency.String()), s.Text)
	if s.Advice != nil && s.Advice.Do != "" {
		fmt.Fprintf(w, " %s", s.Advice.Do)
	}
	fmt.Fprintf(w, " [%s", s.Episode)
	if s.Seen {
		fmt.Fprint(w, ", seen")
	}
	if s.Hushed != nil {
		fmt.Fprint(w, ", hushed")
	}
	fmt.Fprintln(w, "]")
}

func printProbes(w io.Writer, v farm.View, loc *time.Location) {
	fmt.Fprintln(w, "\nProbes")
	for _, p := range v.Probes {
		fmt.Fprintf(w, "  %s: ", p.ID)
		switch {
		case p.Value == nil && p.At.IsZero():
			fmt.Fprint(w, "never heard")
		case p.Value == nil:
			fmt.Fprint(w, "no number")
		case p.At.IsZero():
			fmt.Fprintf(w, "%s, kept by the broker, age unknown", probeValue(p, v.Units))
		default:
			fmt.Fprintf(w, "%s, %s ago", probeValue(p, v.Units), farm.SayLong(v.At.Sub(p.At)))
		}
		if p.Doubt != "" {
			fmt.Fprintf(w, "; not believed: %s", p.Doubt)
		}
		for _, f := range p.Flags {
			fmt.Fprintf(w, "; %s", f)
		}
		if p.Pace != "" {
			fmt.Fprintf(w, "; %s", p.Pace)
		}
		if len(p.Rejected) > 0 {
			fmt.Fprintf(w, "; rejected: %s", counted(p.Rejected))
		}
		fmt.Fprintln(w)
		for _, s := range v.Standing {
			if s.Probe == p.ID {
				printStanding(w, s)
			}
		}
	}
}

func probeValue(p farm.ProbeView, u farm.Units) string {
	if p.Measures == farm.Battery { // that may be in V or in %
		return fmt.Sprintf("%.3g", *p.Value)
	}
	return u.Say(p.Measures, *p.Value)
}
