package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/control"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/quantity"
)

func hushCommand() command {
	return command{
		name: "hush", usage: "BIN[/ZONE] [CONDITION [QUANTITY]] --for 2h --config FILE", does: "keeps quiet about a bin or one of its conditions for a while", load: forRun,
		setup: func(fs *flag.FlagSet) work {
			long := fs.String("for", "", "how `LONG`: 2h, 3d")
			var d time.Duration
			wanted := func(words []string) (err error) {
				if len(words) < 1 || *long == "" {
					return misusef("wants a bin and for how long, as in: hush bed --for 2h")
				}
				if d, err = quantity.ParseDuration(*long); err != nil {
					return misuse{err.Error()}
				}
				return nil
			}
			return work{words: wanted, run: func(ctx context.Context, c *call) error { return hush(ctx, c, d) }}
		},
	}
}

// hush keeps quiet about what the words name for d.
func hush(ctx context.Context, c *call, d time.Duration) error {
	now := machineTimes().now()
	h := farm.Hush{Until: now.Add(d).UTC().Truncate(time.Millisecond)}
	place, rest, err := c.cfg.Farm.FindPlaceIn(c.words)
	switch {
	case err != nil:
		return err
	case len(rest) == 2 && farm.Condition(rest[0]) == farm.PastLimit:
		h.Quantity = farm.Quantity(rest[1])
	case len(rest) > 1:
		return misusef("takes one condition after the bin, not %q", strings.Join(rest, " "))
	}
	if len(rest) > 0 {
		h.Condition = farm.Condition(rest[0])
	}
	h.Bin, h.Zone = place.Bin, place.Zone
	if err := ingest.CheckHush(&c.cfg.Farm, h, now); err != nil {
		return err
	}
	until := h.Until
	h.Until, h.For = time.Time{}, d // by the daemon's clock, which may know better
	if err := act(ctx, c, control.Action{Hush: &h}); err != nil {
		return err
	}
	fmt.Fprintf(c.out, "quiet about %s until %s\n", strings.Join(c.words, " "), farm.SayTime(until, now, c.cfg.Farm.Location))
	return nil
}

func seenCommand() command {
	return command{
		name: "seen", usage: "ID --config FILE", does: "says that you know of a raised condition; now shows the ids", load: forRun,
		setup: simply(oneWord("wants the id of one condition"), func(ctx context.Context, c *call) error {
			v, err := view(ctx, c.cfg)
			if err != nil {
				return err
			}
			id := c.words[0]
			i := slices.IndexFunc(v.Standing, func(s farm.Standing) bool { return s.Episode == id })
			if i < 0 {
				return fmt.Errorf("nothing is raised under %q; binwatchd now --config %s shows the ids", id, c.path)
			}
			if err := act(ctx, c, control.Action{Seen: &farm.Seen{Episode: id}}); err != nil {
				return err
			}
			fmt.Fprintln(c.out, "seen:", v.Standing[i].Text)
			return nil
		}),
	}
}

// act has the running daemon note something.
func act(ctx context.Context, c *call, a control.Action) error {
	err := client(c.cfg).Act(ctx, a)
	if errors.Is(err, control.ErrNoDaemon) {
		return fmt.Errorf("no daemon is running, so there is nobody to tell; start it with: binwatchd run --config %s", c.path)
	}
	return err
}
