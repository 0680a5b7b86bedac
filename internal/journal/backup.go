package journal

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"
)

// Backup writes a consistent copy of the journal to a new file while the journal
// goes on being written. The copy appears under its name only when it is whole,
// on disk and checked; an existing file is not overwritten.
//
// To restore it: stop the daemon, move the journal and the files beside it that
// begin with its name out of the way, put the copy in its place, start the daemon.
func (j *Journal) Backup(ctx context.Context, path string) error {
	return newCopy(ctx, path, func(part string) error { return j.copyTo(ctx, part) })
}

// newCopy has a copy made under another name, and gives it its own when it is
// whole, on disk and checked.
func newCopy(ctx context.Context, path string, make func(part string) error) error {
	if exists(path) {
		return fmt.Errorf("backup: %s is already there; name a new file", path)
	}
	part := path + ".part"
	if err := os.Remove(part); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("backup: %w", err)
	}
	defer os.Remove(part) // gone already when all went well
	if err := make(part); err != nil {
		return err
	}
	if _, err := Verify(ctx, part); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	if err := os.Rename(part, path); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	return syncDirectory(path)
}

// copyTo copies by VACUUM INTO, which reads in one transaction and leaves free
// pages out. It does not sync what it writes.
func (j *Journal) copyTo(ctx context.Context, path string) error {
	db, err := openPool(j.still.source(j.cfg.Path), 1)
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := makeFile(path); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	if _, err := db.ExecContext(ctx, `VACUUM INTO ?`, path); err != nil {
		return classify(fmt.Errorf("backup: %w", err))
	}
	if err := j.still.check(); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	return errors.Join(f.Sync(), f.Close())
}

// Contents is what a copy holds.
type Contents struct {
	Readings, Events, Changes int64
	Owed                      int64     // notices not yet told
	First, Last               time.Time // arrival of the first and last reading
}

// Verify checks a copy without changing it: that it is sound, of a schema this
// program knows, and that every packed reading in it can be read.
func Verify(ctx context.Context, path string) (Contents, error) {
	var c Contents
	if _, err := os.Stat(path); err != nil {
		return c, fmt.Errorf("verify: %w", err)
	}
	db, err := openPool(dataSource(path, "ro", "query_only(1)"), 1)
	if err != nil {
		return c, err
	}
	defer db.Close()
	version, err := schemaVersion(ctx, db)
	if err != nil {
		return c, fmt.Errorf("verify: %w", err)
	}
	if version == 0 {
		return c, fmt.Errorf("verify: %s is empty", path)
	}
	rows, err := db.QueryContext(ctx, `PRAGMA integrity_check(5)`)
	if err != nil {
		return c, classify(fmt.Errorf("verify: %w", err))
	}
	if err := firstComplaint(rows); err != nil {
		return c, err
	}
	c, err = contents(ctx, db)
	if err != nil {
		return c, classify(fmt.Errorf("verify: %w", err))
	}
	return c, nil
}

func contents(ctx context.Context, db querier) (Contents, error) {
	var c Contents
	err := db.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM event), (SELECT count(*) FROM change),
		(SELECT count(*) FROM owed WHERE fate IS NULL)`).Scan(&c.Events, &c.Changes, &c.Owed)
	if err != nil {
		return c, err
	}
	err = c.countReadings(ctx, db)
	return c, err
}

// countReadings reads every reading there is, so that none is counted that
// can't be read.
func (c *Contents) countReadings(ctx context.Context, q querier) error {
	rows, err := q.QueryContext(ctx, `SELECT `+chunkColumns+` FROM chunk ORDER BY first`)
	chunks, err := collect(rows, err, scanChunk)
	if err != nil {
		return err
	}
	packed := int64(0)
	for _, info := range chunks {
		rows, err := readChunk(ctx, q, info)
		if err != nil {
			return err
		}
		c.count(rows)
		packed = info.last
	}
	for more := true; more; {
		p, err := unpackedPage(ctx, q, packed)
		if err != nil {
			return err
		}
		c.count(p.rows)
		packed, more = p.last, p.more
	}
	return nil
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
