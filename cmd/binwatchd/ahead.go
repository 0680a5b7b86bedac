package main

import (
	"bytes"
	"cmp"
	"context"
	"flag"
	"fmt"
	"os"
	"slices"
	"time"

	"binwatchd/internal/ahead"
	"binwatchd/internal/cause"
	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"binwatchd/internal/quantity"
)

// book gathers what the journal says, as far as what comes follows from it.
func book(ctx context.Context, j *journal.Journal, f *farm.Farm, v farm.View) (*ahead.Book, error) {
	f = f.InUse(v.At)
	from, to := v.At.Add(-ahead.PastDays*aDay), v.At.Add(aDay)
	jots, err := j.Logbook(ctx, from, to)
	if err != nil {
		return nil, err
	}
	heard, err := j.FirstHeard(ctx)
	if err != nil {
		return nil, err
	}
	b := &ahead.Book{Farm: f, View: v, Jots: jots, Heard: heard, Warm: map[farm.Place][]farm.Sample{}, Batteries: map[string][]farm.Sample{}}
	var curves []journal.Curve
	for _, bin := range f.Bins {
		curves = append(curves, journal.Curve{Place: farm.Place{Bin: bin.Name}, Quantity: farm.Temperature})
		for _, z := range bin.Zones {
			curves = append(curves, journal.Curve{Place: farm.Place{Bin: bin.Name, Zone: z.Name}, Quantity: farm.Temperature})
		}
	}
	for _, p := range f.Probes {
		if p.Measures == farm.Battery {
			curves = append(curves, journal.Curve{Probe: p.ID})
		}
	}
	past, err := j.Curves(ctx, curves, from, to, aDay)
	if err != nil {
		return nil, err
	}
	for i, c := range curves {
		if c.Probe != "" {
			b.Batteries[c.Probe] = past[i]
		} else {
			b.Warm[c.Place] = past[i]
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

// withCauses adds what several bins or probes suffer from together.
func withCauses(ctx context.Context, j *journal.Journal, f *farm.Farm, v farm.View) (farm.View, error) {
	raised := slices.DeleteFunc(slices.Clone(v.Standing), func(st farm.Standing) bool { return st.Hushed != nil })
	var wrong error // the first
	around := func(bin string) []farm.Sample {
		past, err := j.Samples(ctx, bin, "", farm.Temperature, v.At.Add(-cause.AirPast), v.At, cause.AirStep)
		wrong = cmp.Or(wrong, err)
		return past
	}
	for _, c := range cause.Find(f, &v, raised) {
		v.Causes = append(v.Causes, c.Shared(c.AirNow(around)))
	}
	return v, wrong
}

func aheadWork(fs *flag.FlagSet) work {
	asJSON := fs.Bool("json", false, "write one JSON object")
	long := fs.String("for", "90d", "how far, `LONG`: 14d (default 90d)")
	ics := fs.String("ics", "", "write a calendar into `FILE` instead, with what no longer comes called off")
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
		switch {
		case *ics != "":
			return writeCalendar(c, list, *ics)
		case *asJSON:
			return writeJSON(c.out, list)
		}
		fmt.Fprint(c.out, ahead.Text(list, b.Farm.Dates()))
		return nil
	}}
}

// writeCalendar writes what comes into a file for a calendar that can't reach the page.
func writeCalendar(c *call, list farm.Ahead, path string) error {
	before, err := os.ReadFile(path)
	switch {
	case err != nil && !missing(path):
		return fmt.Errorf("read the calendar of before: %w", err)
	case err == nil && len(before) > 0 && !bytes.HasPrefix(before, []byte("BEGIN:VCALENDAR")):
		return fmt.Errorf("%s is there and is no calendar; nothing was written", path)
	}
	fresh := path + ".new"
	if err := os.WriteFile(fresh, ahead.Calendar(list, c.cfg.Farm.Dates(), true, before), 0o644); err != nil {
		return fmt.Errorf("write the calendar: %w", err)
	}
	if err := os.Rename(fresh, path); err != nil {
		return fmt.Errorf("write the calendar: %w", err)
	}
	fmt.Fprintf(c.out, "%s holds %d things that come until %s; import it anew for changes\n", path, len(list.Comes), c.cfg.Farm.Dates().Day(list.Until, list.At))
	return nil
}

const (
	aDay     = 24 * time.Hour
	farthest = 366 * aDay

	usualReach = 90 * aDay
)

// lookedAt is how the farm stands, by its daemon or without one, with what its journal
// says.
func lookedAt(ctx context.Context, cfg *config.Config) (*ahead.Book, error) {
	v, err := view(ctx, cfg, false)
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

// ahead is what comes in the usual time, for the mail.
func (d *daemon) ahead() (farm.Ahead, bool) {
	return inTime(func(ctx context.Context) (a farm.Ahead, err error) {
		v, err := d.glance(ctx)
		if err != nil {
			return a, err
		}
		return d.comes(ctx, v)
	})
}

// comes is what comes in the usual time after a look.
func (d *daemon) comes(ctx context.Context, v farm.View) (farm.Ahead, error) {
	b, err := book(ctx, d.journal, &d.cfg.Load().Farm, v)
	if err != nil {
		d.log.Warn("what comes was not reckoned", "error", err)
		return farm.Ahead{}, err
	}
	return ahead.Look(b, v.At.Add(usualReach)), nil
}
