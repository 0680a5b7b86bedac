package main

import (
	"bufio"
	"cmp"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"binwatchd/internal/notify"
	"binwatchd/internal/rehearse"
)

func rehearseWork(fs *flag.FlagSet) work {
	path := fs.String("config", "", "`FILE` to rehearse")
	against := fs.String("against", "", "`FILE` to compare with: what differs; told: with what was noticed in truth")
	messages := fs.String("messages", "", "`CSV` with the header time,topic,payload; - reads standard input")
	past := fs.Bool("journal", false, "rehearse what the journal of the configuration holds")
	span := newSpanFlags(fs, "leave out what arrived before `T`", "leave out what arrived at `T` or later")
	asJSON := fs.Bool("json", false, "write every change as one JSON object a line; with --against one object")
	wanted := func() error {
		return cmp.Or(
			misuseIf((*messages != "") == *past, "wants either --messages CSV or --journal"),
			misuseIf(*messages != "" && *against == inTruth, "--against told wants --journal, where it stands what was told; a file of that name is ./told"),
			misuseIf(*messages == "-" && *against != "", "standard input can be read only once: give --against a file of messages"),
		)
	}
	return work{flags: wanted, run: func(ctx context.Context, c *call) error {
		cfg, err := forRehearsal(*path, c.streams)
		if err != nil {
			return err
		}
		play := player{messages: *messages, journal: cfg.Journal.Path, in: c.in}
		if play.span, err = span.in(cfg.Farm.Location); err != nil {
			return err
		}
		if *against == "" {
			return rehearseOne(ctx, play, cfg, *asJSON, c.streams)
		}
		if *against == inTruth {
			return holdAgainstTruth(ctx, play, cfg, *asJSON, c.streams)
		}
		other, err := forRehearsal(*against, c.streams)
		if err != nil {
			return err
		}
		return compare(ctx, play, cfg, other, [2]string{*path, *against}, *asJSON, c.streams)
	}}
}

// inTruth stands for what was noticed and told in truth, where a file is named else.
const inTruth = "told"

// holdAgainstTruth plays the farm's past from its beginning, so that at the start of the
// span as much is known as was then.
func holdAgainstTruth(ctx context.Context, p player, cfg *config.Config, asJSON bool, s *streams) error {
	from, to := p.span.from, p.span.to
	p.span.from = time.Time{}
	r, err := p.play(ctx, cfg, func(farm.Change) {})
	if err != nil {
		return err
	}
	j, err := openToRead(ctx, cfg)
	if err != nil {
		return err
	}
	defer j.Close()
	notices, err := j.Noticed(ctx)
	if err != nil {
		return err
	}
	then := rehearse.Outcome{Name: "then"}
	for _, n := range notices {
		then.Take(n.Change, n.Told)
	}
	truth, err := rehearse.AgainstTruth(then, r.Outcome("now"), from, to)
	if err != nil {
		return err
	}
	if asJSON {
		return writeJSON(s.out, truth)
	}
	return truth.Write(s.out, cfg.Farm.Location)
}

// A timeSpan is [from, to); a zero end is open.
type timeSpan struct{ from, to time.Time }

// spanFlags are --from and --to of a command line.
type spanFlags struct{ from, to string }

// newSpanFlags adds the two, with what they say of themselves.
func newSpanFlags(fs *flag.FlagSet, from, to string) *spanFlags {
	var f spanFlags
	fs.StringVar(&f.from, "from", "", from)
	fs.StringVar(&f.to, "to", "", to)
	return &f
}

// in gives the span that was asked for in a time zone.
func (f *spanFlags) in(loc *time.Location) (s timeSpan, err error) {
	if s.from, err = moment(f.from, loc); err == nil {
		s.to, err = moment(f.to, loc)
	}
	if err == nil && !s.to.IsZero() && !s.to.After(s.from) {
		err = misusef("--to %s is not after --from %s, so there is nothing between them", f.to, f.from)
	}
	return s, err
}

// A player plays a past to a rehearsal.
type player struct {
	messages string // path of a recording, or "-" for in; "" for the journal
	journal  string
	span     timeSpan
	in       io.Reader
}

func (p player) play(ctx context.Context, cfg *config.Config, on func(farm.Change)) (*rehearse.Rehearsal, error) {
	r := rehearse.New(rehearse.Config{Farm: &cfg.Farm, Prefix: cfg.Broker.Prefix, From: p.span.from, To: p.span.to, On: on, Told: toldIn(cfg)})
	if p.messages == "" {
		if p.journal == "" {
			return nil, fmt.Errorf("the configuration names no journal to rehearse")
		}
		j, err := journal.OpenReadOnly(ctx, journal.Config{Path: p.journal, Now: time.Now})
		if err != nil {
			return nil, err
		}
		defer j.Close()
		j.Under(&cfg.Farm)
		return r, r.Journal(ctx, j)
	}
	if p.messages == "-" {
		return r, r.Messages(ctx, p.in)
	}
	f, err := os.Open(p.messages)
	if err != nil {
		return nil, fmt.Errorf("read recording: %w", err)
	}
	defer f.Close()
	return r, r.Messages(ctx, bufio.NewReaderSize(f, 256<<10))
}

func rehearseOne(ctx context.Context, p player, cfg *config.Config, asJSON bool, s *streams) error {
	out := bufio.NewWriterSize(s.out, 64<<10)
	write := textLine(out, cfg.Farm.Location)
	if asJSON {
		write = jsonLine(out)
	}
	var wrong error // the first of writing
	r, err := p.play(ctx, cfg, func(ch farm.Change) {
		if wrong == nil {
			wrong = write(ch)
		}
	})
	if wrong = cmp.Or(wrong, out.Flush()); err == nil && wrong != nil {
		err = fmt.Errorf("write changes: %w", wrong)
	}
	if err != nil {
		return err
	}
	fmt.Fprintln(s.talk, summary(r.Stats()))
	return nil
}

// toldIn tells whether the tellers of a configuration would be told of a change;
// nil when it has none. Nothing is revealed for that.
func toldIn(cfg *config.Config) func(farm.Change) bool {
	tellers := tellersOf(cfg, unrevealed)
	if len(tellers) == 0 {
		return nil
	}
	return func(ch farm.Change) bool {
		news := ch.Change == farm.Raised || ch.Change == farm.Worsened
		return news && len(notify.OwedFor(tellers, ch, ch.At)) > 0
	}
}

// compare plays the same past to two configurations.
func compare(ctx context.Context, p player, a, b *config.Config, names [2]string, asJSON bool, s *streams) error {
	var outcomes [2]rehearse.Outcome
	for i, cfg := range []*config.Config{a, b} {
		r, err := p.play(ctx, cfg, func(farm.Change) {})
		if err != nil {
			return err
		}
		outcomes[i] = r.Outcome(names[i])
	}
	if asJSON {
		return writeJSON(s.out, map[string]any{
			"outcomes": outcomes, "only_first": rehearse.Only(outcomes[0], outcomes[1]), "only_second": rehearse.Only(outcomes[1], outcomes[0]),
		})
	}
	return rehearse.Compare(s.out, outcomes[0], outcomes[1], a.Farm.Location)
}

func jsonLine(w io.Writer) func(farm.Change) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	return func(ch farm.Change) error { return enc.Encode(ch) }
}

// textLine writes a change for a person: when, how urgent, what.
func textLine(w io.Writer, loc *time.Location) func(farm.Change) error {
	return func(ch farm.Change) error {
		_, err := fmt.Fprintf(w, "%s  %-9s %-5s %-12s %s\n", ch.At.In(loc).Format("Mon 2006-01-02 15:04"), ch.Change, ch.Urgency, ch.Condition, ch.Text)
		return err
	}
}

// summary is one line on what went through.
func summary(st rehearse.Stats) string {
	s := fmt.Sprintf("%d messages, %d readings, %d of them doubted, %d changes, %d of them told", st.Messages, st.Readings, st.Doubted, st.Changes, st.Told)
	if len(st.Rejected) > 0 {
		s += "; rejected: " + counted(st.Rejected)
	}
	return s
}
