package journal

import (
	"context"
	"errors"
	"os"
)

// A still is a journal's file that is read as one nobody writes to. On a full or
// read-only disk SQLite can't make the two files by which a reader keeps clear
// of the writer. After a clean stop they are not needed: the log is empty and
// all there is stands in the file. The nil still is any other way of reading.
type still struct {
	path string
	was  os.FileInfo
}

// errStirred says that what was read may be of two moments.
var errStirred = errors.New("the journal was written to while it was read without a lock; try again")

// holdStill notes how the file is before it is read, or says why it can't be
// read alone.
func holdStill(path string) (*still, error) {
	was, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	s := &still{path, was}
	return s, s.check()
}

// check tells whether the file has been left alone since holdStill.
func (s *still) check() error {
	if s == nil {
		return nil
	}
	log, err := os.Stat(s.path + "-wal")
	switch {
	case errors.Is(err, os.ErrNotExist):
	case err != nil:
		return err
	case log.Size() > 0:
		return errStirred
	}
	is, err := os.Stat(s.path)
	if err != nil {
		return err
	}
	if !os.SameFile(is, s.was) || is.Size() != s.was.Size() || !is.ModTime().Equal(s.was.ModTime()) {
		return errStirred
	}
	return nil
}

// source names the file for reading it in this way.
func (s *still) source(path string, pragmas ...string) string {
	name := dataSource(path, "ro", pragmas...)
	if s != nil {
		name += "&immutable=1"
	}
	return name
}

// beginReading opens the pool for reading: beside a daemon, or where the disk
// leaves no room for that, as a file that nobody writes to.
func (j *Journal) beginReading(ctx context.Context) error {
	err := j.tryReading(ctx)
	if !errors.Is(err, ErrFull) && !errors.Is(err, ErrReadOnly) && !errors.Is(err, ErrDisk) {
		return err
	}
	s, unfit := holdStill(j.cfg.Path)
	if unfit != nil {
		return err
	}
	j.still = s
	return j.tryReading(ctx)
}

func (j *Journal) tryReading(ctx context.Context) error {
	db, err := openReaders(j.still.source(j.cfg.Path, "query_only(1)"))
	if err != nil {
		return err
	}
	version, err := schemaVersion(ctx, db)
	if err == nil && version == 0 {
		err = errors.New("open journal: it is empty; no daemon has run on it yet")
	}
	if err != nil {
		db.Close()
		return fullAt(j.cfg.Path, err)
	}
	j.read.Store(db)
	return nil
}
