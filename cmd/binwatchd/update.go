package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/journal"
)

// changes are what versions changed for a farm that ran before them, the oldest first. A
// journal remembers how many of them it was told, so a line is only ever added at the
// end. Each stands in CHANGELOG.md too, after "In a farm that runs already: ".
var changes = []string{
	"What comes on its usual day is told by the rounds; a notice comes where it is sooner, is forgotten, or harm is near.",
	"What several bins or probes suffer from together is told once, as what they have in common, and not one by one.",
}

// newsFor is for how long they are shown: every weekly list has them once.
const newsFor = 8 * 24 * time.Hour

// openedBy notes which program has opened the journal, and logs what is otherwise with
// it than with the one before.
func (d *daemon) openedBy(ctx context.Context, version string, all []string) error {
	was, used, err := d.journal.Program(ctx)
	if err != nil {
		return err
	}
	now := d.clock.now()
	is := journal.Program{Version: version, Since: now, Changes: max(len(all), was.Changes), Told: was.Changes}
	switch {
	case !used: // to a farm that begins all is new
		is.Told = is.Changes
	case was.Version == version && was.Changes == is.Changes:
		d.program = was
		return nil
	case was.Changes > len(all):
		d.log.Warn("a newer version ran on this journal; what it changed is taken back", "before", was.Version, "version", version)
	default:
		d.log.Info("first start of this version on this journal", "before", cmp.Or(was.Version, "not known"), "version", version)
		for _, change := range all[was.Changes:] {
			d.log.Info("changed by this version", "what", change)
		}
		if age := now.Sub(was.Since); age >= 0 && age < newsFor {
			is.Told = was.Told
		}
	}
	d.program = is
	return d.journal.SetProgram(ctx, is)
}

// news is what is otherwise than before the last update, while that is news.
func (d *daemon) news(all []string, now time.Time) []string {
	if age := now.Sub(d.program.Since); age < 0 || age >= newsFor {
		return nil
	}
	return all[min(d.program.Told, len(all)):]
}

// noteUpdate says what the first start of this version will change for the farm; the error
// is why it can't start on the journal that is there. A journal that is not there, or
// can't be read from here, is left for the daemon to find.
func noteUpdate(ctx context.Context, cfg *config.Config, all []string, talk io.Writer) error {
	if missing(cfg.Journal.Path) {
		return nil
	}
	j, err := openToRead(ctx, cfg)
	if err != nil {
		if errors.Is(err, journal.ErrNewer) {
			return err
		}
		return nil
	}
	defer j.Close()
	was, used, err := j.Program(ctx)
	if err == nil && used && was.Changes < len(all) {
		for _, change := range all[was.Changes:] {
			fmt.Fprintln(talk, "note: with the first start of this version:", change)
		}
	}
	return nil
}

// wayBack says of a journal that a newer program has written how to go on.
func wayBack(ctx context.Context, cfg *config.Config, err error) error {
	if !errors.Is(err, journal.ErrNewer) {
		return err
	}
	folder := ""
	if b := cfg.Journal.Backup; b != nil {
		folder = b.To
	}
	back := journal.LookBack(ctx, cfg.Journal.Path, folder)
	newer, file := cmp.Or(back.Version, "the newer one"), back.Copy
	found := fmt.Sprintf("go back to the newest copy that this one can read, and lose what came after %s",
		cfg.Farm.Dates().Long(back.Last)+back.Last.In(cfg.Farm.Location).Format(", 15:04"))
	if file == "" {
		file, found = "FILE", "go back to a copy that was made before the newer one ran (none was found beside the journal or where its copies go)"
	}
	return fmt.Errorf("%w. Install %s again, or %s: sudo systemctl stop binwatchd; sudo binwatchd restore %s --config %s", err, newer, found, file, cfg.Path())
}
