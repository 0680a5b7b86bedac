package journal

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sys/unix"
)

// Backup writes a consistent copy of the journal to a new file while the journal
// goes on being written. The copy appears under its name only when it is whole,
// on disk and checked, against the journal too; an existing file is not overwritten.
// [Restore] puts it back.
func (j *Journal) Backup(ctx context.Context, path string) error {
	if err := j.InPlace(); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	before, err := j.tally(ctx)
	if err != nil {
		return err
	}
	return newCopy(ctx, path, func(part string) error { return j.copyTo(ctx, part) }, func(c Contents) error {
		after, err := j.tally(ctx)
		if err == nil {
			err = cmp.Or(j.InPlace(), before.upTo(after, c))
		}
		return err
	})
}

// A tally is how much a journal holds at a moment.
type tally struct {
	last, readings, events, changes int64
	dropped                         int64 // when what is old was last dropped, and how much
}

func (j *Journal) tally(ctx context.Context) (n tally, err error) {
	err = j.view(ctx, "count what is to be copied", func(t *tx) {
		n.last, n.dropped = t.number(`SELECT `+newest), t.number(`SELECT value FROM meta WHERE name = 'dropped'`)
		t.get(into(&n.readings, &n.events, &n.changes), `SELECT
			coalesce((SELECT sum(readings) FROM chunk), 0) + (SELECT count(*) FROM unpacked WHERE seq > ? AND series <> ?),
			(SELECT count(*) FROM event), (SELECT count(*) FROM change)`, t.number(packedTo), tickSeries)
	})
	return n, err
}

// upTo tells whether a copy can be of a moment between two tallies.
func (n tally) upTo(after tally, c Contents) error {
	counts := [][3]int64{{n.last, c.LastSeq, after.last}}
	if n.dropped == after.dropped { // else there may be less than there was
		counts = append(counts, [3]int64{n.readings, c.Readings, after.readings},
			[3]int64{n.events, c.Events, after.events}, [3]int64{n.changes, c.Changes, after.changes})
	}
	for _, count := range counts {
		if count[1] < count[0] || count[1] > count[2] {
			return fmt.Errorf("%w: the copy does not hold what the journal holds (%d to %d, and %d in the copy)",
				ErrDamaged, count[0], count[2], count[1])
		}
	}
	return nil
}

// newCopy has a copy made under another name, and gives it its own when it is
// whole, on disk and checked.
func newCopy(ctx context.Context, path string, make func(part string) error, check func(Contents) error) error {
	if exists(path) {
		return fmt.Errorf("backup: %s is already there; name a new file", path)
	}
	part := path + partSuffix
	err := os.Remove(part)
	if err == nil || errors.Is(err, os.ErrNotExist) {
		err = make(part)
	}
	defer os.Remove(part) // gone already when all went well
	var holds Contents
	if err == nil {
		holds, err = Verify(ctx, part)
	}
	if err == nil {
		err = check(holds)
	}
	if err == nil {
		err = os.Rename(part, path)
	}
	if err != nil {
		return classify(fmt.Errorf("backup: %w", err))
	}
	return syncDirectory(path)
}

// copyTo copies by VACUUM INTO, which reads in one transaction and leaves free
// pages out. It does not sync what it writes.
func (j *Journal) copyTo(ctx context.Context, path string) error {
	db, err := openPool(j.lockFree.source(j.cfg.Path), 1)
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err = makeFile(path); err == nil {
		_, err = db.ExecContext(ctx, `VACUUM INTO ?`, path)
	}
	if err == nil {
		err = j.lockFree.check()
	}
	if err != nil {
		return err
	}
	return settle(path)
}

// settle brings a file to its disk, and has the next reading come from there: a stick
// that loses what it takes would else be found sound by what the machine remembers.
func settle(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	err = f.Sync()
	if err == nil {
		_ = unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED) // a file system may know no such thing
	}
	return errors.Join(err, f.Close())
}

// Contents is what a copy holds.
type Contents struct {
	Readings, Events, Changes int64
	Owed                      int64     // notices not yet told
	First, Last               time.Time // arrival of the first and last reading
	LastSeq                   int64     // newest sequence number
	ID                        string    // of the journal
}

// Verify checks a copy without changing it: that it is sound, of a schema this
// program knows, and that every packed reading in it can be read.
func Verify(ctx context.Context, path string) (Contents, error) {
	var c Contents
	if _, err := os.Stat(path); err != nil {
		return c, fmt.Errorf("verify: %w", err)
	}
	db, err := openPool(dataSource(path, "ro", queryOnly), 1)
	if err != nil {
		return c, err
	}
	defer db.Close()
	switch version, err := schemaVersion(ctx, db); {
	case err != nil:
		return c, fmt.Errorf("verify: %w", err)
	case version == 0:
		return c, fmt.Errorf("verify: %s is empty", path)
	}
	if err := checkFile(ctx, db, fullCheck); err != nil {
		return c, err
	}
	if err := transact(ctx, db, true, c.read); err != nil {
		return c, classify(fmt.Errorf("verify: %w", err))
	}
	return c, nil
}

// read reads every reading there is, so that none is counted that can't be read.
func (c *Contents) read(t *tx) {
	t.get(into(&c.Events, &c.Changes, &c.Owed), `SELECT (SELECT count(*) FROM event), (SELECT count(*) FROM change),
		(SELECT count(*) FROM owed WHERE fate IS NULL)`)
	c.LastSeq, c.ID = t.number(`SELECT `+newest), journalID(t)
	p := page{more: true}
	for _, info := range chunks(t, `true ORDER BY first`) {
		c.count(readChunk(t, info))
		p.last = info.last
	}
	for p.more && t.err == nil {
		p = unpackedPage(t, p.last)
		c.count(p.rows)
	}
}

func (c *Contents) count(rows []row) {
	for _, r := range rows {
		if r.series == tickSeries {
			continue
		}
		if c.Readings == 0 {
			c.First = instant(r.arrived)
		}
		c.Last = instant(r.arrived)
		c.Readings++
	}
}

// ErrInPlace says that the journal's path names what is open, so that a copy is
// made from there.
var ErrInPlace = errors.New("the journal is in its place")

// CopyOpen writes the whole of a journal to w whose path no longer names it: what
// is open is all there is of it then, and is gone when this process ends. Nothing
// can be written meanwhile, which it could not be anyway. Of a journal that is in
// its place it writes nothing and gives ErrInPlace: see [Journal.Backup].
func (j *Journal) CopyOpen(ctx context.Context, w io.Writer) error {
	var moved *MovedError
	switch err := j.InPlace(); {
	case err == nil:
		return ErrInPlace
	case !errors.As(err, &moved), !moved.Open():
		return fmt.Errorf("there is no whole journal to copy: %w", err)
	}
	if err := j.emptyLog(ctx); err != nil {
		return err
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	f := j.identity.Load()
	if f == nil || j.closed.Load() {
		return ErrClosed
	}
	// The lock keeps other programs from writing while the file is read as it is.
	err := transact(ctx, j.write, false, func(t *tx) { t.fail(copyFile(w, f.file)) })
	if err != nil {
		return classify(fmt.Errorf("copy the open journal: %w", err))
	}
	return nil
}

// copyFile copies a database file whose log is empty, and has the copy's header
// say that it needs no log: bytes 18 and 19 of SQLite's file format.
func copyFile(w io.Writer, f *os.File) error {
	is, err := f.Stat()
	if err != nil {
		return err
	}
	head := make([]byte, 100)
	if _, err := f.ReadAt(head, 0); err != nil {
		return err
	}
	head[18], head[19] = 1, 1
	if _, err := w.Write(head); err != nil {
		return err
	}
	_, err = io.Copy(w, io.NewSectionReader(f, int64(len(head)), is.Size()-int64(len(head))))
	return err
}

// Receive writes a copy that comes from elsewhere to a new file, with the care of
// [Journal.Backup].
func Receive(ctx context.Context, path string, copy io.Reader) error {
	return newCopy(ctx, path, func(part string) error {
		f, err := os.OpenFile(part, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o640)
		if err != nil {
			return err
		}
		if _, err = io.Copy(f, copy); err == nil {
			err = f.Sync()
		}
		return errors.Join(err, f.Close())
	}, func(Contents) error { return nil })
}

// partSuffix ends the name of a copy that is not known to be whole.
const partSuffix = ".part"

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// syncDirectory makes renames and new names in path's directory durable.
func syncDirectory(path string) error {
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return fmt.Errorf("sync directory: %w", err)
	}
	defer dir.Close()
	if err := dir.Sync(); err != nil {
		return fmt.Errorf("sync directory: %w", err)
	}
	return nil
}
