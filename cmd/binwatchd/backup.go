package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/control"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"binwatchd/internal/quantity"
)

// lookForCopy is how often it is seen whether a copy is due.
const lookForCopy = time.Minute

// openCopies makes the part that copies the journal now and then, where that is
// configured.
func (d *daemon) openCopies(_ context.Context, cfg *config.Config) error {
	if b := cfg.Journal.Backup; b != nil {
		d.copies = journal.NewCopies(*b, cfg.Journal.Path, d.log, d.trouble)
	}
	return nil
}

// runCopies makes copies until ctx ends.
func (d *daemon) runCopies(ctx context.Context) error {
	d.copy(ctx)
	return every(lookForCopy, d.copy)(ctx)
}

// copy makes a copy of the journal if one is due.
func (d *daemon) copy(ctx context.Context) {
	if made, err := d.copies.Turn(ctx, d.journal, d.now()); err == nil && made != "" {
		d.log.Info("journal copied and checked", "file", made)
	} // a failure has been said, once
}

func backupWork(fs *flag.FlagSet) work {
	var b journal.BackupSettings
	fs.IntVar(&b.Keep, "keep", 0, "make the copy in a folder, under a name with the time, and keep the newest `N` there")
	fs.Func("every", "go on, and make one as often as `LONG`: 1d, 12h", func(s string) (err error) {
		b.Every, err = quantity.ParseDuration(s)
		if err == nil && b.Every < time.Hour {
			err = errors.New("an hour is the least")
		}
		return err
	})
	disk := fs.String("disk", string(journal.OtherDisk), "same: the folder may lie on the `DISK` of the journal or the system")
	words := func(words []string) error {
		return misuseIf(len(words) != 1, "wants one FILE to write, or a FOLDER with --keep N")
	}
	wanted := func() error {
		b.Disk = journal.Disk(*disk)
		switch {
		case b.Keep < 0 || b.Keep == 0 && b.Every != 0:
			return misusef("--keep says how many copies to keep: 1 or more")
		case b.Disk != journal.OtherDisk && b.Disk != journal.SameDisk:
			return misusef("--disk is other or same, not %q", *disk)
		}
		return nil
	}
	return work{words: words, flags: wanted, run: func(ctx context.Context, c *call) error {
		if b.Keep == 0 {
			return writeBackup(ctx, c)
		}
		b.To = c.words[0]
		return copyToFolder(ctx, c, b)
	}}
}

// copyToFolder makes one copy in a folder, or goes on making them until ctx ends.
func copyToFolder(ctx context.Context, c *call, b journal.BackupSettings) error {
	copies := journal.NewCopies(b, c.cfg.Journal.Path, slog.New(slog.DiscardHandler), nil)
	if b.Every == 0 {
		return turn(ctx, c, copies)
	}
	var said error
	look := func(ctx context.Context) {
		err := turn(ctx, c, copies)
		if err != nil && ctx.Err() == nil && (said == nil || said.Error() != err.Error()) {
			fmt.Fprintf(c.talk, "not copied; it is tried again: %v\n", err)
		}
		said = err
	}
	look(ctx)
	return every(lookForCopy, look)(ctx)
}

// turn makes a copy in a folder if one is due, and says so.
func turn(ctx context.Context, c *call, copies *journal.Copies) error {
	j, err := openToRead(ctx, c.cfg)
	if err != nil {
		return err
	}
	defer j.Close()
	made, err := copies.Turn(ctx, j, time.Now())
	if err != nil || made == "" {
		return err
	}
	fmt.Fprintf(c.out, "%s is sound; %d are kept\n", made, copies.State().Kept)
	return nil
}

func writeBackup(ctx context.Context, c *call) error {
	file := c.words[0]
	if isFolder(file) {
		return fmt.Errorf("%s is a folder: name a file in it, or have the copies there named and the newest kept with --keep 14", file)
	}
	if err := backup(ctx, c.cfg, file, c.talk); err != nil {
		return err
	}
	has, err := journal.Verify(ctx, file)
	if err != nil {
		return fmt.Errorf("the copy is not sound: %w", err)
	}
	fmt.Fprintf(c.out, "%s holds %d readings and %d other events, and is sound\n", file, has.Readings, has.Events)
	return nil
}

// backup copies the journal from its path or, where that no longer names it, from
// the daemon that still has it open.
func backup(ctx context.Context, cfg *config.Config, path string, talk io.Writer) error {
	open, err := client(cfg).Copy(ctx)
	switch {
	case err == nil:
		defer open.Close()
		fmt.Fprintf(talk, "%s no longer names what the daemon has open; copying that\n", cfg.Journal.Path)
		return journal.Receive(ctx, path, open)
	case !errors.Is(err, control.ErrInPlace) && !errors.Is(err, control.ErrNoDaemon):
		fmt.Fprintf(talk, "the daemon was not asked: %v\n", err)
	}
	j, err := openToRead(ctx, cfg)
	if err != nil {
		return err
	}
	defer j.Close()
	return j.Backup(ctx, path)
}

func isFolder(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.IsDir()
}

// restore puts a copy in the journal's place.
func restore(ctx context.Context, c *call) error {
	now := time.Now()
	if folder := c.words[0]; isFolder(folder) {
		there, _ := filepath.Glob(filepath.Join(folder, "binwatchd-*.db")) // the names of one journal's copies go by their times
		if len(there) == 0 {
			return fmt.Errorf("%s is a folder, and none of its files is called as a copy; name the FILE to put in place", folder)
		}
		return fmt.Errorf("%s is a folder; name the FILE of it to put in place: %s", folder, strings.Join(there[max(0, len(there)-5):], ", "))
	}
	r, err := journal.Restore(ctx, journal.Config{Path: c.cfg.Journal.Path, Now: time.Now}, c.words[0])
	if errors.Is(err, journal.ErrInUse) {
		return fmt.Errorf("a daemon has the journal %s open; stop it first (systemctl stop binwatchd)", c.cfg.Journal.Path)
	}
	if err != nil {
		return err
	}
	say := func(t time.Time) string {
		return c.cfg.Farm.Dates().Long(t) + t.In(c.cfg.Farm.Location).Format(", 15:04")
	}
	fmt.Fprintf(c.out, "%s is in place: %d readings and %d other events, and it is sound.\n", c.words[0], r.Readings, r.Events)
	if r.Readings > 0 {
		fmt.Fprintf(c.out, "Its readings came from %s to %s.\n", say(r.First), say(r.Last))
	}
	switch gap := r.Missing; {
	case r.Aside == "" && r.Readings > 0:
		fmt.Fprintf(c.out, "Nothing was in its place. What was heard in the %s since then is missing.\n", farm.SayLong(now.Sub(r.Last)))
	case r.Aside == "":
	case r.Unread != nil:
		fmt.Fprintf(c.out, "What was there is set aside as %s. What of it is missing now can't be told: %v.\n", r.Aside, r.Unread)
	case gap.Readings+gap.Jots == 0:
		fmt.Fprintf(c.out, "What was there is set aside as %s. Nothing of it is missing.\n", r.Aside)
	default:
		fmt.Fprintf(c.out, "What was there is set aside as %s. Missing of it are %d readings and %d jots, from %s to %s.\n",
			r.Aside, gap.Readings, gap.Jots, say(gap.First), say(gap.Last))
	}
	fmt.Fprintln(c.out, "Start the daemon now.")
	return nil
}
