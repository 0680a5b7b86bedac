package main

import (
	"context"
	"flag"
	"fmt"
	"time"

	"binwatchd/internal/ahead"
	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"binwatchd/internal/quantity"
)

// book gathers what the journal says, as far as what comes follows from it.
func book(ctx context.Context, j *journal.Journal, f *farm.Farm, v farm.View) (*ahead.Book, error) {
	b := &ahead.Book{Farm: f, View: v, Jots: map[string][]farm.Jot{}, Warm: map[farm.Place][]farm.Sample{}}
	from, to := v.At.Add(-ahead.PastDays*aDay), v.At.Add(aDay)
	for _, bin := range f.Bins {
		jots, err := j.Jots(ctx, bin.Name, from, to)
		if err != nil {
			return nil, err
		}
		b.Jots[bin.Name] = jots
		places := []farm.Place{{Bin: bin.Name}}
		for _, z := range bin.Zones {
			places = append(places, farm.Place{Bin: bin.Name, Zone: z.Name})
		}
		for _, p := range places {
			days, err := j.Samples(ctx, p.Bin, p.Zone, farm.Temperature, from, to, aDay)
			if err != nil {
				return nil, err
			}
			b.Warm[p] = days
		}
	}
	return b, nil
}

// withNeeds holds what is wanted against the castings account, where anything is.
func withNeeds(ctx context.Context, j *journal.Journal, f *farm.Farm, v farm.View) (farm.View, error) {
	if len(f.Needs) == 0 {
		return v, nil
	}
	b, err := book(ctx, j, f, v)
	if err != nil {
		return v, fmt.Errorf("reckon castings: %w", err)
	}
	v.Needs = ahead.Needs(b)
	return v, nil
}

func aheadWork(fs *flag.FlagSet) work {
	asJSON := fs.Bool("json", false, "write one JSON object")
	long := fs.String("for", "90d", "how far, `LONG`: 14d, 90d")
	supposed := fs.String("if", "", "what would be otherwise from now on, as in `SUPPOSED`: 'bed/near fed 20% more'")
	var reach time.Duration
	flags := func() (err error) {
		if reach, err = quantity.ParseDuration(*long); err != nil {
			return misuse{err.Error()}
		}
		return misuseIf(reach < aDay || reach > farthest, "--for wants a day to a year: 14d, 90d")
	}
	return work{flags: flags, run: func(ctx context.Context, c *call) error {
		b, err := lookedAt(ctx, c.cfg)
		if err != nil {
			return err
		}
		if *supposed != "" {
			if b.If, err = ahead.Suppose(b.Farm, *supposed); err != nil {
				return err
			}
		}
		list := ahead.Look(b, b.View.At.Add(reach))
		if *asJSON {
			return writeJSON(c.out, list)
		}
		fmt.Fprint(c.out, ahead.Text(list, b.Farm.Dates()))
		return nil
	}}
}

const (
	aDay     = 24 * time.Hour
	farthest = 366 * aDay
)

// lookedAt is how the farm stands, by its daemon or without one, with what its journal
// says.
func lookedAt(ctx context.Context, cfg *config.Config) (*ahead.Book, error) {
	v, err := view(ctx, cfg)
	if err != nil {
		return nil, err
	}
	j, err := openToRead(ctx, cfg)
	if err != nil {
		return nil, err
	}
	defer j.Close()
	return book(ctx, j, &cfg.Farm, v)
}
