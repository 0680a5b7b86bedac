package journal

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"

	"golang.org/x/sys/unix"

	"binwatchd/internal/farm"
)

// A Journal is an open journal. Its methods may be called from any goroutine;
// writes wait for each other, reads wait for nobody.
type Journal struct {
	cfg    Config
	log    *slog.Logger
	read   atomic.Pointer[sql.DB]
	lock   *os.File                // beside the journal; nil when opened for reading
	still  *still                  // nil unless opened for reading on a disk without room for more
	run    int64                   // id of this run's row
	stands atomic.Pointer[footing] // nil when opened for reading
	wake   chan struct{}

	mu     sync.Mutex   // held while writing; guards the rest of this block
	write  *sql.DB      // nil when opened for reading
	insert [2]*sql.Stmt // into reading_0 and reading_1
	head   head
	farm   *farm.Farm // the last SetFarm was given
	closed atomic.Bool

	folding  sync.Mutex // held while readings are packed or moved in time
	series   seriesTable
	recent   recent
	unpacked lastChunk
	check    check
}

// head is what an append has to know of the end of the journal. It mirrors the
// file and is read anew after any write that failed.
type head struct {
	known   bool
	id      string // of this journal, random
	next    int64  // sequence number to give
	session int64
	table   int // which of reading_0 and reading_1 is appended to
}

// Open opens the journal for the daemon, making it when there is none. It takes
// the lock that keeps a second daemon out (ErrInUse), waiting for a command that
// has it for a moment, brings the schema up to
// date (ErrNewer when it is ahead) and begins a run. A damaged file is set aside
// beside it under another name, which Health tells, and a new one is begun.
// After a run that did not end by Close the file is checked in the background.
func Open(ctx context.Context, cfg Config) (*Journal, error) {
	j := newJournal(cfg)
	if err := checkDirectory(cfg.Path); err != nil {
		return nil, err
	}
	lock, err := awaitLock(ctx, cfg.Path, cfg.Brief)
	if err != nil {
		return nil, err
	}
	j.lock = lock
	j.sayTorn()
	err = j.damageMarked()
	if err == nil {
		err = j.begin(ctx)
	}
	if errors.Is(err, ErrDamaged) {
		err = j.startAfresh(ctx, err)
	}
	if err != nil {
		j.release()
		return nil, fullAt(cfg.Path, err)
	}
	j.startCheck()
	return j, nil
}

// OpenReadOnly opens the journal beside a daemon that may be running, also on a
// disk that is full or can't be written to. Whatever writes returns ErrReadOnly.
func OpenReadOnly(ctx context.Context, cfg Config) (*Journal, error) {
	if _, err := os.Stat(cfg.Path); err != nil {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	j := newJournal(cfg)
	if err := j.beginReading(ctx); err != nil {
		return nil, err
	}
	return j, nil
}

func newJournal(cfg Config) *Journal {
	log := cfg.Log
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	return &Journal{cfg: cfg, log: log, wake: make(chan struct{}, 1)}
}

func checkDirectory(path string) error {
	dir := filepath.Dir(path)
	info, err := os.Stat(dir)
	if errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("open journal: there is no directory %s; make it, owned by the user binwatchd runs as", dir)
	}
	if err != nil {
		return fmt.Errorf("open journal: %w", err)
	}
	if !info.IsDir() {
		return fmt.Errorf("open journal: %s is not a directory", dir)
	}
	return nil
}

// begin opens both pools, migrates, and enters this run. Where it can't, nothing
// stays open, and it may be called again.
func (j *Journal) begin(ctx context.Context) (err error) {
	defer func() {
		if err != nil {
			err = errors.Join(err, j.closePools())
		}
	}()
	empty, err := makeFile(j.cfg.Path)
	if err != nil {
		return err
	}
	ft, err := stand(j.cfg.Path)
	if err != nil {
		return err
	}
	j.stands.Store(ft)
	if empty {
		if err := format(ctx, j.cfg.Path); err != nil {
			return err
		}
	}
	write, inserts, err := readyWriter(ctx, j.cfg.Path)
	if err != nil {
		return err
	}
	j.mu.Lock()
	j.write, j.insert, j.head = write, inserts, head{}
	j.mu.Unlock()
	read, err := openReaders(dataSource(j.cfg.Path, "ro", "query_only(1)"))
	if err != nil {
		return err
	}
	j.read.Store(read)
	return j.enterRun(ctx)
}

// readyWriter gives a writer on a file whose schema is the newest.
func readyWriter(ctx context.Context, path string) (*sql.DB, [2]*sql.Stmt, error) {
	db, err := openWriter(ctx, path)
	if err != nil {
		return nil, [2]*sql.Stmt{}, err
	}
	err = migrate(ctx, db)
	var inserts [2]*sql.Stmt
	if err == nil {
		inserts, err = prepareInserts(ctx, db)
	}
	if err != nil {
		db.Close()
	}
	return db, inserts, err
}

// makeFile makes sure that there is a file, readable by the group alone, so that
// the files SQLite puts beside it, which take after it, are so too. A file that
// is there is not opened: closing it again would drop SQLite's locks on it.
func makeFile(path string) (empty bool, err error) {
	info, err := os.Stat(path)
	if err == nil {
		return info.Size() == 0, nil
	}
	if !errors.Is(err, os.ErrNotExist) {
		return false, fmt.Errorf("open journal: %w", err)
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o640)
	if errors.Is(err, os.ErrPermission) || errors.Is(err, unix.EROFS) {
		return false, fmt.Errorf("open journal: %w: %w", ErrReadOnly, err)
	}
	if err != nil {
		return false, fmt.Errorf("open journal: %w", err)
	}
	return true, f.Close()
}

func (j *Journal) enterRun(ctx context.Context) error {
	return j.update(ctx, "enter run", func(tx *tx) error {
		var last sql.NullInt64
		if err := tx.row(`SELECT clean FROM run ORDER BY id DESC LIMIT 1`).Scan(&last); err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		j.check.setUnclean(last.Valid && last.Int64 == 0)
		if err := tx.exec(`INSERT OR IGNORE INTO meta (name, value) VALUES ('id', ?)`, rand.Text()); err != nil {
			return err
		}
		if err := tx.row(`SELECT value FROM meta WHERE name = 'id'`).Scan(&tx.head.id); err != nil {
			return err
		}
		res, err := tx.ExecContext(ctx, `INSERT INTO run (boot, offset_ms, began, after_seq) VALUES (?, ?, ?, ?)`,
			j.cfg.Boot.ID, j.cfg.Boot.Offset.Milliseconds(), j.cfg.Now().UnixMilli(), tx.head.next-1)
		if err != nil {
			return err
		}
		j.run, err = res.LastInsertId()
		return err
	})
}

// Close ends the run and closes the file. It waits for a write under way, stops
// the background check, and may be called twice.
func (j *Journal) Close() error {
	j.check.end()
	j.folding.Lock()
	defer j.folding.Unlock()
	var err error
	if j.lock != nil && !j.closed.Load() && j.Health().Damage == "" {
		err = j.update(context.Background(), "end run", func(tx *tx) error {
			return tx.exec(`UPDATE run SET clean = 1 WHERE id = ?`, j.run)
		})
	}
	if j.closed.Swap(true) {
		return nil
	}
	return errors.Join(err, j.release())
}

// release closes what is open. The writer goes last, so that it is the last
// connection and SQLite folds the write-ahead log into the file.
func (j *Journal) release() error {
	err := j.closePools()
	if j.lock != nil {
		err = errors.Join(err, j.lock.Close())
	}
	return err
}

func (j *Journal) closePools() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	var errs []error
	for _, db := range []*sql.DB{j.read.Load(), j.write} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	errs = append(errs, j.stands.Swap(nil).leave())
	return errors.Join(errs...)
}
