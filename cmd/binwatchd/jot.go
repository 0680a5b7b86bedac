package main

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"binwatchd/internal/backoff"
	"binwatchd/internal/config"
	"binwatchd/internal/control"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/jot"
	"binwatchd/internal/journal"
	"binwatchd/internal/notify"
	"binwatchd/internal/quantity"
	"binwatchd/internal/watch"
)

func jotWork(fs *flag.FlagSet) work {
	var o jotOptions
	fs.StringVar(&o.at, "at", "", "`TIME` at which it was done, where the words do not say it: 2026-05-01T14:30, 'yesterday 5pm'")
	fs.BoolVar(&o.last, "last", false, "shows the lines that were written last, with the numbers to strike them by")
	fs.StringVar(&o.strike, "strike", "", "takes the line of a `NUMBER` back: what was learned from it is unlearned")
	fs.StringVar(&o.by, "by", "", byHelp)
	fs.BoolVar(&o.note, "note", false, "keeps what is not understood as a note, in your own words")
	wanted := func(words []string) error {
		o.text = strings.Join(words, " ")
		if o.last || o.strike != "" {
			return misuseIf(len(words) > 0 || o.note || o.at != "" || o.last && o.strike != "", "--last and --strike stand alone")
		}
		return misuseIf(len(words) == 0, "wants what was done, as in: jot fed bed/near 2 kg of grain; jot - reads lines from standard input")
	}
	return work{words: wanted, run: func(ctx context.Context, c *call) error {
		var err error
		if o.by, err = signature(&c.cfg.Farm, o.by); err != nil {
			return err
		}
		switch {
		case o.last:
			return showLast(ctx, c)
		case o.strike != "":
			return strikeLine(ctx, c, o)
		}
		return jotDown(ctx, c, o)
	}}
}

// jotOptions are what a jot command says.
type jotOptions struct {
	text, at, strike, by string
	note, last           bool
}

// lastShown is how many lines --last shows.
const lastShown = 12

// showLast writes the last lines of the logbook, the newest last as in a book.
func showLast(ctx context.Context, c *call) error {
	j, err := openToRead(ctx, c.cfg)
	if err != nil {
		return err
	}
	defer j.Close()
	lines, err := j.LastLines(ctx, lastShown)
	if err != nil {
		return err
	}
	for _, line := range slices.Backward(lines) {
		by := ""
		if line.By != "" {
			by = " (" + cmp.Or(c.cfg.Farm.SayPerson(line.By), line.By) + ")"
		}
		fmt.Fprintf(c.out, "%8d  %s%s\n", line.ID, jot.Said(&c.cfg.Farm, line), by)
	}
	if len(lines) == 0 {
		fmt.Fprintln(c.out, "Nothing has been written down yet.")
	}
	return nil
}

// strikeLine takes a line of the logbook back.
func strikeLine(ctx context.Context, c *call, o jotOptions) error {
	number := o.strike
	id, err := strconv.ParseInt(number, 10, 64)
	if err != nil || id < 1 {
		return misusef("%q is no number of a line; --last shows them", number)
	}
	j, err := openToRead(ctx, c.cfg)
	if err != nil {
		return err
	}
	defer j.Close()
	line, err := j.Line(ctx, id)
	if err != nil {
		return fmt.Errorf("line %d: %w; --last shows the numbers", id, err)
	}
	a := control.Action{Strike: &farm.Strike{Line: id, By: o.by}}
	return note(ctx, c.cfg, a, machineTimes().now(), func(how string) {
		fmt.Fprintf(c.out, "struck%s: %s\n", how, jot.Said(&c.cfg.Farm, line))
	})
}

// jotDown writes what the words say into the logbook, all of it or nothing.
func jotDown(ctx context.Context, c *call, o jotOptions) error {
	now, text := machineTimes().now(), o.text
	read := readJots
	if text == "-" {
		all, err := io.ReadAll(io.LimitReader(c.in, longestPaste))
		if err != nil {
			return fmt.Errorf("read the lines: %w", err)
		}
		text = string(all)
	} else if o.note {
		read = func(cfg *config.Config, text string, now time.Time, _ bool, _ io.Writer) ([]farm.Jot, error) {
			return []farm.Jot{jot.Note(&cfg.Farm, farm.Place{}, text, now)}, nil
		}
	}
	at, err := whenSaid(&c.cfg.Farm, o.at, now)
	if err != nil {
		return err
	}
	jots, err := read(c.cfg, text, now, o.note, c.talk)
	if err != nil {
		return err
	}
	for i := range jots {
		j := &jots[i]
		switch {
		case !at.IsZero() && !j.At.IsZero():
			return misusef("the words say when it was done, and --at does too")
		case j.At.IsZero():
			j.At = at
		}
		j.By = o.by
		checked := *j
		checked.At = cmp.Or(j.At, now)
		if err := jot.Check(&c.cfg.Farm, checked, now); err != nil {
			return err
		}
	}
	return note(ctx, c.cfg, control.Action{Jots: jots}, now, func(how string) { sayJots(c.streams, "noted"+how+":", c.cfg, jots) })
}

// longestPaste bounds what standard input may hold.
const longestPaste = 64 << 10

// whenSaid reads --at; a zero time leaves it to the daemon's clock, which may know
// better.
func whenSaid(f *farm.Farm, at string, now time.Time) (time.Time, error) {
	if at == "" {
		return time.Time{}, nil
	}
	if t, err := moment(at, f.Location); err == nil {
		return t.UTC().Truncate(time.Millisecond), nil
	}
	t, err := jot.When(f, at, now)
	return t.UTC(), err
}

// readJots reads a text line by line. What is not understood goes to talk with the
// nearest reading; with note it is kept as it stands.
func readJots(cfg *config.Config, text string, now time.Time, note bool, talk io.Writer) (jots []farm.Jot, err error) {
	asked := false
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		r, err := jot.Read(&cfg.Farm, line, now)
		var q *jot.Question
		switch {
		case err == nil:
			jots = append(jots, r.Jots...)
		case note:
			jots = append(jots, jot.Note(&cfg.Farm, farm.Place{}, line, now))
		case errors.As(err, &q):
			asked = true
			fmt.Fprintf(talk, "not written: %s\n  %s\n", line, q.Why)
			for _, near := range q.Nearest.Says(&cfg.Farm) {
				fmt.Fprintf(talk, "  nearest: %s\n", near)
			}
		}
		for _, took := range r.Took {
			fmt.Fprintf(talk, "taken: %s\n", took)
		}
	}
	switch {
	case asked:
		fmt.Fprintln(talk, "Nothing was written. With --note it is kept as a note, in your own words.")
		return nil, errSaid
	case len(jots) == 0:
		return nil, errors.New("there is nothing to write down")
	}
	return jots, nil
}

// startWait is how long a daemon that starts or stops is waited for: it holds the
// journal without answering at its socket.
const startWait = 20 * time.Second

// note has the daemon write something down, or does so when none is running; said is
// told how it was done.
func note(ctx context.Context, cfg *config.Config, a control.Action, now time.Time, said func(how string)) error {
	for began := time.Now(); ; {
		err := client(cfg).Act(ctx, a)
		if err == nil {
			said("")
			return nil
		}
		if !errors.Is(err, control.ErrNoDaemon) {
			return err
		}
		err = noteAlone(ctx, cfg, a, now)
		switch {
		case err == nil:
			said(", with no daemon running")
			return nil
		case !errors.Is(err, journal.ErrInUse):
			return err
		case time.Since(began) > startWait || !backoff.Pause(ctx, 200*time.Millisecond):
			return fmt.Errorf("nothing was noted: %w, and it does not answer at %s", err, cfg.Control)
		}
	}
}

func sayJots(io *streams, how string, cfg *config.Config, jots []farm.Jot) {
	for _, j := range jots {
		fmt.Fprintln(io.out, how, jot.Said(&cfg.Farm, j))
		if s := j.What.Row().Sight; s != nil {
			for _, advice := range []string{s.Do, s.Caution} {
				if advice != "" {
					fmt.Fprintln(io.out, " ", advice)
				}
			}
		}
	}
}

// noteAlone writes into a journal that no daemon has open.
func noteAlone(ctx context.Context, cfg *config.Config, a control.Action, now time.Time) error {
	jr, err := journal.Open(ctx, journal.Config{Path: cfg.Journal.Path, Keep: cfg.Journal.Keep, Now: time.Now, Brief: true})
	if err != nil {
		return err
	}
	defer jr.Close()
	if err := jr.SetFarm(ctx, &cfg.Farm); err != nil {
		return err
	}
	tellers := tellersOf(cfg, unrevealed)
	owes := func(ch farm.Change) []farm.Owed { return notify.OwedFor(tellers, ch, now) }
	return watch.Note(ctx, jr, &cfg.Farm, a.Events(), now, owes)
}

func hushWork(fs *flag.FlagSet) work {
	long, by := fs.String("for", "", "how `LONG`: 2h, 3d"), fs.String("by", "", byHelp)
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
	return work{words: wanted, run: func(ctx context.Context, c *call) error { return hush(ctx, c, d, *by) }}
}

// hush keeps quiet about what the words name for d.
func hush(ctx context.Context, c *call, d time.Duration, by string) error {
	by, errBy := signature(&c.cfg.Farm, by)
	now := machineTimes().now()
	until := now.Add(d).UTC().Truncate(time.Millisecond)
	hushes, err := hushesOf(&c.cfg.Farm, c.words)
	err = cmp.Or(err, errBy)
	for i := range hushes {
		h := &hushes[i]
		h.Until, h.By = until, by
		err = cmp.Or(err, ingest.CheckHush(&c.cfg.Farm, *h, now))
		h.Until, h.For = time.Time{}, d // by the daemon's clock, which may know better
	}
	if err == nil {
		err = act(ctx, c, control.Action{Hushes: hushes})
	}
	if err == nil {
		fmt.Fprintf(c.out, "quiet about %s until %s\n", strings.Join(c.words, " "), c.cfg.Farm.Dates().Time(until, now))
	}
	return err
}

// hushesOf is what the words keep quiet: a bin, a zone, or every bin of a place, and one
// condition of it or all.
func hushesOf(f *farm.Farm, words []string) (all []farm.Hush, err error) {
	place, rest, err := f.FindPlaceIn(words)
	places := []farm.Place{place}
	if err != nil && f.HasRoom(words[0]) {
		places, rest, err = nil, words[1:], nil
		for _, b := range f.Bins {
			if b.Room == words[0] {
				places = append(places, farm.Place{Bin: b.Name})
			}
		}
	}
	var h farm.Hush
	switch {
	case err != nil:
		return nil, err
	case len(rest) == 2 && farm.Condition(rest[0]) == farm.PastLimit:
		h.Quantity = farm.Quantity(rest[1])
	case len(rest) > 1:
		return nil, misusef("takes one condition after the bin, not %q", strings.Join(rest, " "))
	}
	if len(rest) > 0 {
		h.Condition = farm.Condition(rest[0])
	}
	for _, p := range places {
		h.Bin, h.Zone = p.Bin, p.Zone
		all = append(all, h)
	}
	return all, nil
}

func seenWork(fs *flag.FlagSet) work {
	by := fs.String("by", "", byHelp)
	return work{words: someIDs, run: func(ctx context.Context, c *call) error { return noteSeen(ctx, c, *by, "") }}
}

func takeWork(fs *flag.FlagSet) work {
	by := fs.String("by", "", byHelp)
	until := fs.String("until", "tonight", "`TIME` until which: tonight, tomorrow, 18:00, 2h; now gives it back")
	return work{words: someIDs, run: func(ctx context.Context, c *call) error { return noteSeen(ctx, c, *by, *until) }}
}

func someIDs(words []string) error {
	return misuseIf(len(words) == 0, "wants the id of a condition, or of several")
}

// noteSeen says that somebody knows of what is raised; with until they look after it.
func noteSeen(ctx context.Context, c *call, by, until string) error {
	f, now, said := &c.cfg.Farm, machineTimes().now(), "seen"
	who, err := signature(f, by)
	if err != nil {
		return err
	}
	seen := farm.Seen{By: who}
	if until != "" {
		switch seen.Until, err = jot.Until(f, until, now); {
		case err != nil:
			return misuse{err.Error()}
		case f.SayPerson(who) == "":
			return misusef("wants to know who looks after it: --by NAME")
		case seen.Until.After(now):
			said = f.SayPerson(who) + " looks after it until " + f.Dates().Clock(seen.Until, now)
		default:
			said = "given back"
		}
	}
	v, err := view(ctx, c.cfg, false)
	if err != nil {
		return err
	}
	var a control.Action
	var lines []string
	for _, id := range c.words {
		i := slices.IndexFunc(v.Standing, func(s farm.Standing) bool { return s.Episode == id })
		switch {
		case i >= 0:
			seen.Episode = id
			a.Seen, lines = append(a.Seen, seen), append(lines, said+": "+v.Standing[i].Text)
		case len(c.words) == 1:
			return fmt.Errorf("nothing is raised under %q; binwatchd now --config %s shows the ids", id, c.path)
		default: // one of those that a letter named
			lines = append(lines, id+": nothing is raised under that; it may be over")
		}
	}
	if len(a.Seen) > 0 {
		err = act(ctx, c, a)
	}
	if err == nil {
		fmt.Fprintln(c.out, strings.Join(lines, "\n"))
	}
	return err
}

// act has the running daemon note something.
func act(ctx context.Context, c *call, a control.Action) error {
	err := client(c.cfg).Act(ctx, a)
	if errors.Is(err, control.ErrNoDaemon) {
		return fmt.Errorf("no daemon is running, so there is nobody to tell; start it with: binwatchd run --config %s", c.path)
	}
	return err
}
