package journal

import (
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"time"
)

// Sizes says how big the journal is.
type Sizes struct {
	FileBytes int64     // of the database file
	LogBytes  int64     // of the write-ahead log beside it
	FreeBytes int64     // of the file, to be used again
	Packed    int64     // readings in chunks
	Unpacked  int64     // readings and ticks not packed yet
	Events    int64     // all others
	Last      int64     // newest sequence number
	Oldest    time.Time // arrival of the oldest raw reading kept; zero: there is none
}

// Sizes gives the journal's figures. It reads no reading, so it is cheap enough
// for every scrape of the metrics.
func (j *Journal) Sizes(ctx context.Context) (Sizes, error) {
	var s Sizes
	err := j.view(ctx, "measure journal", func(t *sql.Tx) error {
		packed, err := packedTo(ctx, t)
		if err != nil {
			return err
		}
		if s.Last, err = lastSeq(ctx, t); err != nil {
			return err
		}
		var page, free int64
		var oldest sql.NullInt64
		err = t.QueryRowContext(ctx, `SELECT (SELECT page_size FROM pragma_page_size), (SELECT freelist_count FROM pragma_freelist_count),
			coalesce((SELECT sum(readings) FROM chunk), 0), (SELECT count(*) FROM event),
			?2 - ?1 - (SELECT count(*) FROM event WHERE seq > ?1),
			coalesce((SELECT arrived_lo FROM chunk ORDER BY first LIMIT 1), (SELECT arrived FROM unpacked ORDER BY seq LIMIT 1))`, packed, s.Last).
			Scan(&page, &free, &s.Packed, &s.Events, &s.Unpacked, &oldest)
		s.FreeBytes = page * free
		if oldest.Valid {
			s.Oldest = instant(oldest.Int64)
		}
		return err
	})
	if err != nil {
		return s, err
	}
	if s.FileBytes, err = fileSize(j.cfg.Path); err != nil {
		return s, err
	}
	s.LogBytes, err = fileSize(j.cfg.Path + "-wal")
	return s, err
}

func fileSize(path string) (int64, error) {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	return info.Size(), nil
}
