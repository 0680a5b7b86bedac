package main

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/backoff"
	"binwatchd/internal/config"
	"binwatchd/internal/control"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/journal"
	"binwatchd/internal/notify"
	"binwatchd/internal/quantity"
	"binwatchd/internal/watch"
)

func jotWork(fs *flag.FlagSet) work {
	at := fs.String("at", "", "`TIME` at which it was done; now when left out")
	var j farm.Jot
	wanted := func(words []string) (err error) {
		j, err = parseJot(words)
		return err
	}
	return work{words: wanted, run: func(ctx context.Context, c *call) error {
		now := machineTimes().now()
		if err := completeJot(c.cfg, &j, *at, now); err != nil {
			return err
		}
		return noteJot(ctx, c.cfg, j, now, c.streams)
	}}
}

// completeJot gives a jot its place and its time, and checks it. At is the time on
// the command line; "" leaves it to the daemon's clock, which may know better.
func completeJot(cfg *config.Config, j *farm.Jot, at string, now time.Time) error {
	if err := ingest.PlaceJot(&cfg.Farm, j); err != nil {
		return err
	}
	said, err := moment(at, cfg.Farm.Location)
	if err != nil {
		return err
	}
	j.At, j.By = cmp.Or(said, now).UTC().Truncate(time.Millisecond), "command"
	err = ingest.CheckJot(&cfg.Farm, *j, now)
	if at == "" {
		j.At = said
	}
	return err
}

// parseJot reads BIN[/ZONE] WHAT [AMOUNT] [of KIND] [to BIN]. A place, a kind
// and an amount may be several words. The places stand as they were written;
// [ingest.PlaceJot] finds them.
func parseJot(words []string) (j farm.Jot, err error) {
	if len(words) < 2 {
		return j, misusef("wants at least a bin and what was done, as in: jot bed/near fed 2 kg of grain")
	}
	deed := slices.IndexFunc(words, func(w string) bool { return slices.Contains(farm.JotKinds, farm.JotKind(w)) })
	if deed < 1 {
		deed = 1 // what stands there is told to be no deed
	}
	j.Bin, j.What = strings.Join(words[:deed], " "), farm.JotKind(words[deed])
	part := map[string][]string{}
	in := "amount"
	for _, w := range words[deed+1:] {
		if w == "of" || w == "to" {
			if _, twice := part[w]; twice {
				return j, misusef("%q stands there twice", w)
			}
			in = w
			part[w] = nil
			continue
		}
		part[in] = append(part[in], w)
	}
	for _, w := range []string{"of", "to"} {
		if ws, ok := part[w]; ok && len(ws) == 0 {
			return j, misusef("nothing follows %q", w)
		}
	}
	j.Of, j.To = strings.Join(part["of"], " "), strings.Join(part["to"], " ")
	if amount := strings.Join(part["amount"], " "); amount != "" {
		if j.Kg, j.Litres, err = quantity.ParseAmount(amount); err != nil {
			return j, misuse{err.Error()}
		}
	}
	return j, nil
}

// startWait is how long a daemon that starts or stops is waited for: it holds the
// journal without answering at its socket.
const startWait = 20 * time.Second

// noteJot has the daemon write the jot, or writes it when none is running.
func noteJot(ctx context.Context, cfg *config.Config, j farm.Jot, now time.Time, io *streams) error {
	for began := time.Now(); ; {
		err := client(cfg).Act(ctx, control.Action{Jot: &j})
		if err == nil {
			fmt.Fprintln(io.out, "noted:", sayJot(cfg, j))
			return nil
		}
		if !errors.Is(err, control.ErrNoDaemon) {
			return err
		}
		err = noteAlone(ctx, cfg, j, now)
		switch {
		case err == nil:
			fmt.Fprintln(io.out, "noted, with no daemon running:", sayJot(cfg, j))
			return nil
		case !errors.Is(err, journal.ErrInUse):
			return err
		case time.Since(began) > startWait || !backoff.Pause(ctx, 200*time.Millisecond):
			return fmt.Errorf("nothing was noted: %w, and it does not answer at %s", err, cfg.Control)
		}
	}
}

// noteAlone writes a jot into a journal that no daemon has open.
func noteAlone(ctx context.Context, cfg *config.Config, j farm.Jot, now time.Time) error {
	jr, err := journal.Open(ctx, journal.Config{Path: cfg.Journal.Path, Keep: cfg.Journal.Keep, Now: time.Now, Brief: true})
	if err != nil {
		return err
	}
	defer jr.Close()
	tellers := tellersOf(cfg, unrevealed)
	owes := func(ch farm.Change) []farm.Owed { return notify.OwedFor(tellers, ch, now) }
	return watch.Note(ctx, jr, &cfg.Farm, farm.Event{Kind: farm.EventJot, Jot: j}, now, owes)
}

func sayJot(cfg *config.Config, j farm.Jot) string {
	s := cfg.Farm.SayPlace(j.Bin, j.Zone) + " " + string(j.What)
	switch {
	case j.Kg > 0:
		s += " " + quantity.FormatMass(j.Kg)
	case j.Litres > 0:
		s += " " + quantity.FormatVolume(j.Litres)
	}
	if j.Of != "" {
		s += " of " + j.Of
	}
	if j.To != "" {
		s += " to " + j.To
	}
	return s
}

func hushWork(fs *flag.FlagSet) work {
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
	fmt.Fprintf(c.out, "quiet about %s until %s\n", strings.Join(c.words, " "), c.cfg.Farm.Dates().Time(until, now))
	return nil
}

func noteSeen(ctx context.Context, c *call) error {
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
}

// act has the running daemon note something.
func act(ctx context.Context, c *call, a control.Action) error {
	err := client(c.cfg).Act(ctx, a)
	if errors.Is(err, control.ErrNoDaemon) {
		return fmt.Errorf("no daemon is running, so there is nobody to tell; start it with: binwatchd run --config %s", c.path)
	}
	return err
}
