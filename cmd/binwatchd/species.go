package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"text/tabwriter"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

func speciesWork(fs *flag.FlagSet) work {
	path := fs.String("config", "", "`FILE` whose own species and changes are to be shown too")
	return work{run: func(_ context.Context, c *call) error {
		table, units := husbandry.Species(), farm.Metric
		if *path != "" {
			cfg, err := config.Load(*path, config.ForRehearsal)
			if err != nil {
				return err
			}
			table, units = cfg.Farm.Species, cfg.Farm.Units
		}
		printSpecies(c.out, table, units)
		return nil
	}}
}

func printSpecies(w io.Writer, table []farm.Species, u farm.Units) {
	t := tabwriter.NewWriter(w, 0, 0, 3, ' ', 0)
	fmt.Fprintln(t, "species\tthrives at\tsurvives at\tbusiest at\tthrives moist\tsurvives moist\tcocoons")
	for _, s := range table {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", s.ID,
			span(s.Temperature.Thrive, u.Temperature), span(s.Temperature.Survive, u.Temperature), u.Temperature(s.Cardinal.Best),
			span(s.Moisture.Thrive, u.Moisture), span(s.Moisture.Survive, u.Moisture), incubation(s, u))
	}
	t.Flush()
	for _, s := range table {
		fmt.Fprintf(w, "\n%s: %s, %s\n", s.ID, s.Name, s.Latin)
		for _, src := range s.Sources {
			fmt.Fprintf(w, "  %s: %s (%s)\n", src.Figure, src.Says, src.Where)
		}
	}
	fmt.Fprint(w, "\nMoisture is water as part of fresh mass. Where sources disagree both are shown; a keeper's own\nfigures go under species: in the configuration.\n")
}

func span(b farm.Band, say func(float64) string) string { return say(b.Low) + " to " + say(b.High) }

// incubation is how long cocoons take at the species' best temperature.
func incubation(s farm.Species, u farm.Units) string {
	rate := husbandry.HatchRate(s, s.Cardinal.Best)
	if rate <= 0 {
		return "not known"
	}
	return fmt.Sprintf("%.0f days at %s", 1/rate, u.Temperature(s.Cardinal.Best))
}
