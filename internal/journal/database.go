package journal

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"golang.org/x/sys/unix"
	"modernc.org/sqlite"
	codes "modernc.org/sqlite/lib"
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

	sqliteHeader = "SQLite format 3\x00" // begins every database file
	queryOnly    = "query_only(1)"
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

// openPool opens one connection, or the readers, which never wait for the writer. Each
// of those holds a cache, so one that is not used for a while is closed.
func openPool(source string, n int) (*sql.DB, error) {
	db, err := sql.Open("sqlite", source)
	if err != nil {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	db.SetMaxOpenConns(n)
	db.SetMaxIdleConns(n)
	if n > 1 {
		db.SetConnMaxIdleTime(readerIdle)
	}
	return db, nil
}

// readyWriter opens the one connection that writes, with the newest schema and the
// statements prepared. Its transactions take the write lock when they begin, so that
// none fails half way for want of it.
func readyWriter(ctx context.Context, path string) (db *sql.DB, inserts [2]*sql.Stmt, err error) {
	db, err = openPool(dataSource(path, "rwc",
		"journal_mode(WAL)",
		"synchronous(FULL)",
		"foreign_keys(0)",
		fmt.Sprintf("journal_size_limit(%d)", logMaxBytes),
	)+"&_txlock=immediate", 1)
	if err != nil {
		return nil, inserts, err
	}
	if err = checkDurable(ctx, db); err == nil {
		err = migrate(ctx, db)
	}
	if err == nil {
		inserts, err = prepareInserts(ctx, db)
	}
	if err != nil {
		db.Close()
	}
	return db, inserts, err
}

// checkDurable reads the two pragmas back on which the promise rests that an
// acknowledged reading survives a power loss. A file system without shared
// memory, for one, quietly refuses the write-ahead log.
func checkDurable(ctx context.Context, db *sql.DB) error {
	var mode string
	var sync int
	if err := db.QueryRowContext(ctx, `SELECT (SELECT journal_mode FROM pragma_journal_mode),
		(SELECT synchronous FROM pragma_synchronous)`).Scan(&mode, &sync); err != nil {
		return classify(fmt.Errorf("open journal: %w", err))
	}
	if mode != "wal" || sync != 2 {
		return fmt.Errorf("open journal: the file system allows no write-ahead log (journal mode %s, sync level %d); "+
			"put the journal on a local disk", mode, sync)
	}
	return nil
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

//go:embed migrations/*.sql
var migrationFiles embed.FS

// applicationID marks the file as ours in its header ("bwjn").
const applicationID = 0x62776a6e

// migrations are the numbered steps in order: 0001_ makes version 1 of version 0.
var migrations = sync.OnceValue(func() (steps []string) {
	names, _ := fs.Glob(migrationFiles, "migrations/*.sql") // the pattern is a good one
	for _, name := range names {
		text, _ := migrationFiles.ReadFile(name) // it is there
		steps = append(steps, string(text))
	}
	return steps
})

// migrate brings the schema to the newest version, one transaction a step. The
// version stands in the header of the file (PRAGMA user_version).
func migrate(ctx context.Context, db *sql.DB) error {
	have, err := schemaVersion(ctx, db)
	if err != nil {
		return err
	}
	for v, text := range migrations()[have:] {
		to := have + v + 1
		script := fmt.Sprintf("%s;\nPRAGMA application_id = %d;\nPRAGMA user_version = %d;", text, applicationID, to)
		if err := transact(ctx, db, false, func(t *tx) { t.exec(script) }); err != nil {
			return classify(fmt.Errorf("migrate journal to schema %d: %w", to, err))
		}
	}
	return nil
}

// schemaVersion reads the version and refuses one that this program is too old
// for, and a database of another program.
func schemaVersion(ctx context.Context, db *sql.DB) (int, error) {
	var version, app, tables int
	row := db.QueryRowContext(ctx, `SELECT (SELECT user_version FROM pragma_user_version),
		(SELECT application_id FROM pragma_application_id), (SELECT count(*) FROM sqlite_schema)`)
	if err := row.Scan(&version, &app, &tables); err != nil {
		return 0, classify(fmt.Errorf("read journal schema: %w", err))
	}
	if app != applicationID && tables > 0 {
		return 0, fmt.Errorf("open journal: the file is a database of another program; give journal.path a file of its own")
	}
	if known := len(migrations()); version > known {
		return 0, fmt.Errorf("open journal: %w: it has schema %d, this one knows %d", ErrNewer, version, known)
	}
	return version, nil
}

// lockFree is a journal's file that is read as one nobody writes to. On a full or
// read-only disk SQLite can't make the two files by which a reader keeps clear
// of the writer. After a clean stop they are not needed: the log is empty and
// all there is stands in the file. The nil lockFree is any other way of reading.
type lockFree struct {
	path string
	was  os.FileInfo
}

// errWrittenMeanwhile says that what was read may be of two moments.
var errWrittenMeanwhile = errors.New("the journal was written to while it was read without a lock; try again")

// check tells whether the file has been left alone since it was opened.
func (s *lockFree) check() error {
	if s == nil {
		return nil
	}
	log, err := fileSize(s.path + "-wal")
	is, gone := os.Stat(s.path)
	if err := errors.Join(err, gone); err != nil {
		return err
	}
	if log > 0 || !os.SameFile(is, s.was) || is.Size() != s.was.Size() || !is.ModTime().Equal(s.was.ModTime()) {
		return errWrittenMeanwhile
	}
	return nil
}

// source names the file for reading it in this way.
func (s *lockFree) source(path string, pragmas ...string) string {
	name := dataSource(path, "ro", pragmas...)
	if s != nil {
		name += "&immutable=1"
	}
	return name
}

// outboxSchema is the first whose outbox tells a reminder and a bundle apart.
const outboxSchema = 4

// namesSchema is the first that knows what things were called.
const namesSchema = 7

// openReading opens the pool for reading: beside a daemon, or where the disk
// leaves no room for that, as a file that nobody writes to.
func (j *Journal) openReading(ctx context.Context) error {
	err := j.tryReading(ctx)
	if !errors.Is(err, ErrFull) && !errors.Is(err, ErrReadOnly) && !errors.Is(err, ErrDisk) {
		return err
	}
	was, unfit := os.Stat(j.cfg.Path)
	alone := &lockFree{j.cfg.Path, was}
	if unfit != nil || alone.check() != nil {
		return err
	}
	j.lockFree = alone
	return j.tryReading(ctx)
}

func (j *Journal) tryReading(ctx context.Context) error {
	db, err := openPool(j.lockFree.source(j.cfg.Path, queryOnly), readers)
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
	j.older, j.nameless = version < outboxSchema, version < namesSchema
	j.read.Store(db)
	return nil
}

// What a caller can act on. Every error of this package that has one of these
// causes wraps it.
var (
	ErrFull     = errors.New("no room left on the disk")
	ErrReadOnly = errors.New("the journal can only be read")
	ErrDamaged  = errors.New("the journal file is damaged")
	ErrDisk     = errors.New("the disk reports an error")
	ErrInUse    = errors.New("another binwatchd has the journal open")
	ErrLocked   = errors.New("another program (a database shell, say, or one that copies) keeps the journal file locked")
	ErrNewer    = errors.New("the journal was written by a newer binwatchd")
	ErrClosed   = errors.New("the journal is closed")
)

// classify adds to an error of SQLite the cause a caller can act on. The low
// byte of a result code is its class (SQLite, "Result and Error Codes").
func classify(err error) error {
	if cause := causeOf(err); cause != nil && !errors.Is(err, cause) {
		return fmt.Errorf("%w: %w", cause, err)
	}
	return err
}

// fullAt adds ErrFull to a disk error where the disk of path has no room. SQLite
// says so itself only of some writes; of the file it shares between processes,
// which it makes anew after a clean stop, it says no more than that the disk
// reports an error, or, where no new file can be made, that it can't be opened.
func fullAt(path string, err error) error {
	if errors.Is(err, ErrFull) {
		return err
	}
	var disk unix.Statfs_t
	if unix.Statfs(filepath.Dir(path), &disk) != nil {
		return err
	}
	noRoom := disk.Bfree == 0 || os.Geteuid() != 0 && disk.Bavail == 0 // some is kept back for root
	noNames := disk.Files > 0 && disk.Ffree == 0
	if errors.Is(err, ErrDisk) && noRoom || errors.Is(err, ErrReadOnly) && noNames {
		return fmt.Errorf("%w: %w", ErrFull, err)
	}
	return err
}

// damaged says of what can't be read that it is the journal's file which is.
func damaged(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%w: %w", ErrDamaged, err)
}

// causeOf gives the cause of an error of SQLite's own; nil for any other, as of one
// packed body that can't be read.
func causeOf(err error) error {
	if se := (*sqlite.Error)(nil); errors.As(err, &se) {
		return causes[se.Code()&0xff]
	}
	return nil
}

var causes = map[int]error{
	codes.SQLITE_FULL:     ErrFull,
	codes.SQLITE_READONLY: ErrReadOnly,
	codes.SQLITE_CANTOPEN: ErrReadOnly,
	codes.SQLITE_PERM:     ErrReadOnly,
	codes.SQLITE_AUTH:     ErrReadOnly,
	codes.SQLITE_CORRUPT:  ErrDamaged,
	codes.SQLITE_NOTADB:   ErrDamaged,
	codes.SQLITE_FORMAT:   ErrDamaged,
	codes.SQLITE_IOERR:    ErrDisk,
	codes.SQLITE_BUSY:     ErrLocked,
	codes.SQLITE_LOCKED:   ErrLocked,
}
