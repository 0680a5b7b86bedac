package journal

import (
	"context"
	"database/sql"
	"fmt"
	"net/url"
	"strings"
	"time"
)

const (
	// pageSize is half of the usual. A commit of a dozen readings dirties one
	// page whatever its size, and a page of this size still holds forty.
	pageSize    = 2048
	readers     = 3 // connections for reading
	readerIdle  = time.Minute
	busyMillis  = 5000    // how long a connection waits for another's lock
	cacheKiB    = 512     // page cache of each connection
	logMaxBytes = 8 << 20 // the write-ahead log is cut back to this when it has grown
)

// dataSource names the file with the pragmas that every connection of a pool
// must have. They stand in the name because an Exec would reach one connection
// only.
func dataSource(path, mode string, more ...string) string {
	q := url.Values{"mode": {mode}, "_pragma": append([]string{
		fmt.Sprintf("busy_timeout(%d)", busyMillis),
		fmt.Sprintf("cache_size(-%d)", cacheKiB),
		"trusted_schema(0)",
	}, more...)}
	// SQLite reads the path as a URI: these three would end it.
	escaped := strings.NewReplacer("%", "%25", "?", "%3f", "#", "%23").Replace(path)
	return "file:" + escaped + "?" + q.Encode()
}

// openWriter opens the one connection that writes. Its transactions take the
// write lock when they begin, so that none fails half way for want of it.
func openWriter(ctx context.Context, path string) (*sql.DB, error) {
	name := dataSource(path, "rwc",
		"journal_mode(WAL)",
		"synchronous(FULL)",
		"foreign_keys(0)",
		fmt.Sprintf("journal_size_limit(%d)", logMaxBytes),
	) + "&_txlock=immediate"
	db, err := openPool(name, 1)
	if err != nil {
		return nil, err
	}
	if err := checkDurable(ctx, db); err != nil {
		db.Close()
		return nil, err
	}
	return db, nil
}

// format writes the header of an empty file. The page size can only be chosen
// while the file has no header and no write-ahead log.
func format(ctx context.Context, path string) error {
	db, err := openPool(dataSource(path, "rw", fmt.Sprintf("page_size(%d)", pageSize)), 1)
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := db.ExecContext(ctx, `VACUUM`); err != nil {
		return classify(fmt.Errorf("make journal: %w", err))
	}
	return nil
}

// openReaders opens the pool for reading, which never waits for the writer. Each
// connection holds a cache, so one that is not used for a while is closed.
func openReaders(source string) (*sql.DB, error) {
	db, err := openPool(source, readers)
	if err == nil {
		db.SetConnMaxIdleTime(readerIdle)
	}
	return db, err
}

func openPool(name string, n int) (*sql.DB, error) {
	db, err := sql.Open("sqlite", name)
	if err != nil {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	db.SetMaxOpenConns(n)
	db.SetMaxIdleConns(n)
	return db, nil
}

// checkDurable reads the two pragmas back on which the promise rests that an
// acknowledged reading survives a power loss. A file system without shared
// memory, for one, quietly refuses the write-ahead log.
func checkDurable(ctx context.Context, db *sql.DB) error {
	var mode string
	if err := db.QueryRowContext(ctx, "PRAGMA journal_mode").Scan(&mode); err != nil {
		return classify(fmt.Errorf("open journal: %w", err))
	}
	var sync int
	if err := db.QueryRowContext(ctx, "PRAGMA synchronous").Scan(&sync); err != nil {
		return classify(fmt.Errorf("open journal: %w", err))
	}
	if mode != "wal" || sync != 2 {
		return fmt.Errorf("open journal: the file system allows no write-ahead log (journal mode %s, sync level %d); put the journal on a local disk", mode, sync)
	}
	return nil
}
