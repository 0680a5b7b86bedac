package journal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"binwatchd/internal/farm"
)

// Restored is what a restore has done.
type Restored struct {
	Contents        // of the copy
	Aside    string // name of what was in its place; "": nothing was
	Missing  Gap    // what was in it and is not in the copy
	Unread   error  // why that is not known; nil: it is
}

// A Gap is what a copy does not have.
type Gap struct {
	Readings, Jots int64
	First, Last    time.Time // arrival of the first and last of them
}

// Restore puts a copy in the place of the journal. It refuses while a daemon has that
// open (ErrInUse). The copy is copied beside the journal, brought up to date and
// checked before anything else is touched; then what was in its place is set aside
// under a name with .before- and the time. Nothing is deleted, and the copy stays where
// it is.
func Restore(ctx context.Context, cfg Config, from string) (r Restored, err error) {
	if _, err := os.Stat(from); err != nil {
		return r, fmt.Errorf("restore: %w", err)
	}
	if err := checkPath(cfg.Path); err != nil {
		return r, err
	}
	release, err := holdStill(ctx, cfg.Path)
	if err != nil {
		return r, fmt.Errorf("restore: %w", err)
	}
	defer release()
	part := cfg.Path + ".restoring"
	defer removeWithBesides(part)
	if r.Contents, err = takeCopy(ctx, from, part); err != nil {
		return r, fmt.Errorf("restore %s: %w; nothing was changed", from, err)
	}
	if exists(cfg.Path) {
		r.Missing, r.Unread = missingIn(ctx, cfg.Path, r.Contents)
		if r.Aside, err = setAside(cfg.Path, "before", cfg.Now()); err != nil {
			return r, fmt.Errorf("restore: %w", err)
		}
	}
	if err := os.Rename(part, cfg.Path); err != nil {
		return r, fmt.Errorf("restore: %w; what was there is %s now", err, r.Aside)
	}
	return r, syncDirectory(cfg.Path)
}

// holdStill keeps daemons from the journal until release is called.
func holdStill(ctx context.Context, path string) (release func(), err error) {
	lock, err := awaitLock(ctx, path, true)
	if err != nil {
		return nil, err
	}
	var id *identity
	if exists(path) { // it may be open under another name
		id, err = identify(path)
	}
	if err == nil {
		err = ownedAsItsFolder(path + lockSuffix)
	}
	if err != nil {
		return nil, errors.Join(err, id.close(), lock.Close())
	}
	return func() { errors.Join(id.close(), lock.Close()) }, nil
}

// takeCopy copies a copy to part, of the newest schema and checked.
func takeCopy(ctx context.Context, from, part string) (c Contents, err error) {
	removeWithBesides(part)
	for _, suffix := range []string{"", besides[0]} { // what was set aside may have a log
		if err := duplicate(from+suffix, part+suffix); err != nil && (suffix == "" || !errors.Is(err, fs.ErrNotExist)) {
			return c, err
		}
	}
	if err := isJournal(ctx, part); err != nil {
		return c, err
	}
	db, inserts, err := readyWriter(ctx, part)
	if err != nil {
		return c, err
	}
	for _, s := range inserts {
		err = errors.Join(err, s.Close())
	}
	if err = errors.Join(err, db.Close()); err != nil {
		return c, err
	}
	if err := settle(part); err != nil {
		return c, err
	}
	return Verify(ctx, part)
}

// isJournal refuses what is no journal, or of a schema that is not known here.
func isJournal(ctx context.Context, path string) error {
	db, err := openPool(dataSource(path, "ro", queryOnly), 1)
	if err != nil {
		return err
	}
	defer db.Close()
	version, err := schemaVersion(ctx, db)
	if err == nil && version == 0 {
		err = errors.New("it is empty")
	}
	return err
}

func duplicate(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := openFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close(), ownedAsItsFolder(to))
}

// ownedAsItsFolder gives a file that root has made to whom the folder belongs, which is
// who the daemon runs as.
func ownedAsItsFolder(path string) error {
	if os.Geteuid() != 0 {
		return nil
	}
	dir, err := os.Stat(filepath.Dir(path))
	if err != nil {
		return err
	}
	owner := dir.Sys().(*syscall.Stat_t)
	return os.Chown(path, int(owner.Uid), int(owner.Gid))
}

func removeWithBesides(path string) {
	for _, suffix := range append(besides[:], "") {
		os.Remove(path + suffix)
	}
}

// missingIn counts what a journal holds that a copy does not: of the journal that was
// copied what came since, of another all.
func missingIn(ctx context.Context, path string, c Contents) (gap Gap, err error) {
	j, err := OpenReadOnly(ctx, Config{Path: path, Now: time.Now})
	if err != nil {
		return gap, err
	}
	defer j.Close()
	id, err := viewed(ctx, j, "read the journal's name", journalID)
	after := c.LastSeq
	if id != c.ID {
		after = 0
	}
	if err == nil {
		err = j.Replay(ctx, after, gap.add)
	}
	return gap, err
}

func (g *Gap) add(e farm.Event) error {
	switch e.Kind {
	case farm.EventReading:
		g.Readings++
	case farm.EventJot:
		g.Jots++
	default:
		return nil
	}
	if g.First.IsZero() {
		g.First = e.Arrived
	}
	g.Last = e.Arrived
	return nil
}
