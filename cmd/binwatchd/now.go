package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/control"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/journal"
	"binwatchd/internal/reliability"
	"binwatchd/internal/rounds"
	"binwatchd/internal/watch"
)

// nowAnswer is how the farm stands, for now.
func nowAnswer(v farm.View, f *farm.Farm, colour bool) (value any, text string) {
	b := &sheet{colour: colour}
	printView(b, v, f)
	return v, b.String()
}

// roundsWork is the list for today, or somebody's part of it.
func roundsWork(fs *flag.FlagSet) work {
	who := fs.String("for", "", forHelp)
	var whose farm.Person // minds all where nobody is named
	w := shown(func(v farm.View, f *farm.Farm, _ bool) (value any, text string) {
		list := rounds.List(v.For(f, whose), f.Dates())
		return list, rounds.Text(list, f.Dates())
	})(fs)
	list := w.run
	w.run = func(ctx context.Context, c *call) (err error) {
		if *who != "" {
			if whose, err = personNamed(&c.cfg.Farm, *who); err != nil {
				return err
			}
		}
		return list(ctx, c)
	}
	return w
}

// month is over how long --probes looks.
const month = 30 * 24 * time.Hour

// nowWork is how the farm stands, or with --probes how reliable its probes were.
func nowWork(fs *flag.FlagSet) work {
	probes := fs.Bool("probes", false, "show how reliable each probe was over 30 days, the least first")
	w := shown(nowAnswer)(fs)
	zones := w.run
	w.words = func(words []string) error {
		return misuseIf(*probes && len(words) > 0, "--probes is of the whole farm; name no place beside it")
	}
	w.run = func(ctx context.Context, c *call) error {
		if !*probes {
			return zones(ctx, c)
		}
		list, err := reliable(ctx, c.cfg, machineTimes().now())
		if err != nil {
			return err
		}
		if fs.Lookup("json").Value.String() == "true" {
			return writeJSON(c.out, list)
		}
		printReliability(c.out, list, c.cfg.Farm.Dates(), machineTimes().now())
		return nil
	}
	return w
}

// reliable reckons from the journal how reliable each probe was over a month.
func reliable(ctx context.Context, cfg *config.Config, now time.Time) ([]reliability.Probe, error) {
	j, err := openToRead(ctx, cfg)
	if err != nil {
		return nil, err
	}
	defer j.Close()
	return reliableIn(ctx, j, &cfg.Farm, now)
}

func reliableIn(ctx context.Context, j *journal.Journal, f *farm.Farm, now time.Time) ([]reliability.Probe, error) {
	account := reliability.New(f.InUse(now), ingest.NewCalibrator(f).Value)
	first, _, err := j.Span(ctx, now.Add(-month), now)
	if err != nil {
		return nil, err
	}
	if first > 0 {
		err = j.Replay(ctx, first-1, func(e farm.Event) error {
			account.Hear(e)
			return ctx.Err()
		})
	}
	return account.List(now), err
}

// printReliability writes how reliable the probes were for a person.
func printReliability(w io.Writer, list []reliability.Probe, dates farm.Dates, now time.Time) {
	fmt.Fprintln(w, "Probes over 30 days, the least reliable first")
	for _, p := range list {
		fmt.Fprintf(w, "  %s: %s\n", p.ID, p.Say(dates, now))
		if p.Replace {
			fmt.Fprintln(w, "    "+reliability.ReplaceDo)
		}
	}
}

// shown is the setup of a command that writes what it makes of how the farm stands:
// for a person, or as JSON.
func shown(made func(v farm.View, f *farm.Farm, colour bool) (value any, text string)) func(*flag.FlagSet) work {
	return func(fs *flag.FlagSet) work {
		asJSON := fs.Bool("json", false, "write one JSON object")
		return work{words: func([]string) error { return nil }, run: func(ctx context.Context, c *call) error {
			v, err := view(ctx, c.cfg, true)
			if err == nil && len(c.words) > 0 {
				v, err = within(v, &c.cfg.Farm, c.words)
			}
			if err != nil {
				return err
			}
			value, text := made(v, &c.cfg.Farm, colourful(c.out, os.Getenv))
			if *asJSON {
				return writeJSON(c.out, value)
			}
			fmt.Fprint(c.out, text)
			return nil
		}}
	}
}

// within is how the bin stands, or the bins of the place, that words name.
func within(v farm.View, f *farm.Farm, words []string) (farm.View, error) {
	name := strings.Join(words, " ")
	if f.HasRoom(name) {
		return v.Within(f, name), nil
	}
	at, err := f.FindPlace(name)
	switch {
	case err != nil && len(f.Rooms) > 0:
		return v, fmt.Errorf("no place and no bin %q; the places are %s", name, wordsOf(f.Rooms, func(r farm.Room) string { return r.Name }))
	case err != nil:
		return v, err
	}
	return v.Within(f, at.Bin), nil
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
func printView(w io.Writer, v farm.View, f *farm.Farm) {
	dates := f.Dates()
	fmt.Fprintf(w, "%s, %s\n", v.Farm, dates.Long(v.At)+v.At.In(dates.Location).Format(", 15:04"))
	printIntake(w, v, dates)
	for _, said := range v.Unreached(dates) {
		fmt.Fprintln(w, said)
	}
	if said := v.Copied(); said != "" {
		fmt.Fprintln(w, said)
	}
	if len(v.Changed) > 0 {
		fmt.Fprintf(w, "%s:\n  %s\n", farm.ChangedTitle, strings.Join(v.Changed, "\n  "))
	}
	printStanding(w, v, func(s farm.Standing) bool { return s.Bin == "" && s.Probe == "" })
	for _, c := range v.Causes {
		fmt.Fprintf(w, "%s: %s %s\n", urgent(w, c.Urgency), c.Says(), c.Do)
	}
	for _, b := range v.Bins {
		for _, z := range b.Zones {
			fmt.Fprintf(w, "\n%s (%s)\n", styled(w, inBold, farm.SayPlace(z.Bin, z.Zone, len(b.Zones) == 1)), z.Aim)
			printZone(w, z, v, dates)
		}
	}
	if len(v.Retired) > 0 {
		fmt.Fprintln(w, "\n"+styled(w, inBold, "Retired"))
	}
	for _, r := range v.Retired {
		fmt.Fprintf(w, "  %s, %s\n", f.SayPlace(r.Bin, r.Zone), dates.Day(r.Since, v.At))
	}
	printProbes(w, v, f)
}

func printIntake(w io.Writer, v farm.View, dates farm.Dates) {
	in := v.Intake
	switch {
	case !in.Running:
		fmt.Fprintln(w, "No daemon is running; this is what the journal says.")
	case in.Unwritten != nil:
		fmt.Fprintf(w, "The journal can't be written since %s: %s. Nothing is judged meanwhile.\n", dates.Time(*in.Unwritten, v.At), in.Why)
	case !in.Connected:
		fmt.Fprintln(w, "The broker is not connected.")
	}
	if len(in.Messages) > 0 {
		fmt.Fprintf(w, "Messages: %s\n", counted(in.Messages))
	}
	if p := v.Passing; p != nil && p.Refusals > 0 {
		fmt.Fprintf(w, "Rows that the database has refused for good: %d. The newest:\n", p.Refusals)
		for _, r := range p.Newest {
			fmt.Fprintf(w, "  %s: %s: %s\n", dates.Time(r.At, v.At), r.Reason, r.Line)
		}
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

func printZone(w io.Writer, z farm.ZoneView, v farm.View, dates farm.Dates) {
	for _, said := range z.Unsure(v.At, dates) {
		fmt.Fprintf(w, "  %s\n", said)
	}
	for _, q := range farm.Quantities {
		printLevel(w, q, z.Level(q.Name), v)
	}
	for _, s := range z.Species {
		fmt.Fprintf(w, "  %s %s, at work at %.0f %% of their best\n", s.Named(), s.Says(), 100*s.Activity)
	}
	for _, f := range z.Food {
		fmt.Fprintf(w, "  food of %s: %.0f %% left\n", dates.Date(f.At), 100*f.LeftPart)
	}
	if z.StoredL > 0 {
		fmt.Fprintf(w, "  holds %s of castings\n", v.Units.Volume(z.StoredL))
	}
	printStanding(w, v, func(s farm.Standing) bool { return s.Bin == z.Bin && s.Zone == z.Zone && s.Probe == "" })
	for _, seen := range z.Seen {
		fmt.Fprintf(w, "  %s\n", seen.Text)
	}
	for _, r := range z.Rhythms {
		fmt.Fprintf(w, "  %s\n", r.Text)
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
	if !l.Fresh {
		fmt.Fprintf(w, ", %s old", farm.SayLong(v.At.Sub(l.At)))
	}
	fmt.Fprintln(w)
}

// printStanding writes those conditions that stand of something.
func printStanding(w io.Writer, v farm.View, of func(farm.Standing) bool) {
	for _, s := range v.Standing {
		if !of(s) {
			continue
		}
		text, marks := s.Text, s.Episode
		if s.Advice != nil && s.Advice.Do != "" {
			text += " " + s.Advice.Do
		}
		if said := s.Known; s.Seen || said != "" {
			marks += ", " + cmp.Or(said, "you know of it")
		}
		if s.Hushed != nil {
			marks += ", kept quiet"
		}
		fmt.Fprintf(w, "  %s: %s [%s]\n", urgent(w, s.Urgency), text, marks)
	}
}

// urgent writes an urgency so that it is seen.
func urgent(w io.Writer, u farm.Urgency) string {
	style := inBold
	if u == farm.Now {
		style = inRed
	}
	return styled(w, style, strings.ToUpper(u.String()))
}

func printProbes(w io.Writer, v farm.View, f *farm.Farm) {
	fmt.Fprintln(w, "\n"+styled(w, inBold, "Probes"))
	for _, p := range v.Probes {
		fmt.Fprintf(w, "  %s: %s\n", p.ID, sayProbe(p, v, f))
		printStanding(w, v, func(s farm.Standing) bool { return s.Probe == p.ID })
	}
}

func sayProbe(p farm.ProbeView, v farm.View, f *farm.Farm) string {
	said := []string{"no number"}
	switch {
	case p.Value == nil && p.At.IsZero():
		said[0] = "never heard"
	case p.Value == nil:
	case p.At.IsZero():
		said[0] = probeValue(p, v.Units, f) + ", kept by the broker, age unknown"
	default:
		said[0] = probeValue(p, v.Units, f) + ", " + farm.SayLong(v.At.Sub(p.At)) + " ago"
	}
	if p.Doubt != "" {
		said = append(said, "not believed: "+p.Doubt)
	}
	said = append(said, p.Flags...)
	if p.Pace != "" {
		said = append(said, p.Pace)
	}
	if len(p.Rejected) > 0 {
		said = append(said, "rejected: "+counted(p.Rejected))
	}
	return strings.Join(said, "; ")
}

// probeValue writes a value in the unit of its row: a battery's is V or %.
func probeValue(p farm.ProbeView, u farm.Units, f *farm.Farm) string {
	row := p.Measures.Row()
	if conf, ok := f.ProbeByID(p.ID); ok {
		row = conf.Row()
	}
	return row.Written(u).String(*p.Value)
}

// client asks the daemon that keeps a configuration's journal.
func client(cfg *config.Config) *control.Client {
	return control.NewClient(cfg.Control, cfg.Journal.Path)
}

// view asks the running daemon how the farm stands, or reads it out of the
// journal when none runs; closely, with what has to be reckoned for it.
func view(ctx context.Context, cfg *config.Config, closely bool) (farm.View, error) {
	v, err := client(cfg).Look(ctx, closely)
	if !errors.Is(err, control.ErrNoDaemon) {
		return v, err
	}
	return viewOfJournal(ctx, cfg, machineTimes().now(), closely)
}

// viewOfJournal reads how the farm stands out of the journal.
func viewOfJournal(ctx context.Context, cfg *config.Config, now time.Time, closely bool) (farm.View, error) {
	j, err := openToRead(ctx, cfg)
	if err != nil {
		return farm.View{}, err
	}
	defer j.Close()
	r, err := watch.Rebuild(ctx, j, &cfg.Farm)
	if err != nil {
		return farm.View{}, err
	}
	v := r.State.Look(later(now, r.Last))
	if !closely {
		return v, nil
	}
	if v, err = withNeeds(ctx, j, &cfg.Farm, v); err == nil {
		v, err = withCauses(ctx, j, &cfg.Farm, v)
	}
	if err != nil {
		return v, err
	}
	if cfg.Influx != nil {
		v.Passing, err = refusals(ctx, j)
	}
	return v, err
}

// shownRefusals is how many of the newest a person is shown.
const shownRefusals = 3

// refusals reads what the database refused for good.
func refusals(ctx context.Context, j *journal.Journal) (*farm.PassingOn, error) {
	newest, total, err := j.Parked(ctx, shownRefusals)
	if err != nil {
		return nil, err
	}
	p := &farm.PassingOn{Refusals: total}
	for _, r := range newest {
		p.Newest = append(p.Newest, farm.Refusal{At: r.At, Reason: r.Reason, Line: r.Line})
	}
	return p, nil
}

func missing(path string) bool {
	_, err := os.Stat(path)
	return errors.Is(err, fs.ErrNotExist)
}

// openToRead opens the journal beside a daemon, or without one.
func openToRead(ctx context.Context, cfg *config.Config) (*journal.Journal, error) {
	if missing(cfg.Journal.Path) {
		if dir := filepath.Dir(cfg.Journal.Path); missing(dir) {
			return nil, fmt.Errorf("there is no folder %s. If the daemon runs, its journal was deleted or moved away under it: do not stop it, put the folder back, "+
				"or make a new one of that name and owner if it is gone, and ask again ten seconds later. If it does not run yet, make the folder, then: binwatchd run", dir)
		}
		return nil, fmt.Errorf("there is no journal yet at %s; start the daemon first: binwatchd run", cfg.Journal.Path)
	}
	j, err := journal.OpenReadOnly(ctx, journal.Config{Path: cfg.Journal.Path, Now: time.Now})
	if err != nil {
		return nil, wayBack(ctx, cfg, err)
	}
	j.Under(&cfg.Farm)
	return j, nil
}
