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
)

// A Journal is an open journal. Its methods may be called from any goroutine;
// writes wait for each other, reads wait for nobody.
type Journal struct {
	cfg   Config
	log   *slog.Logger
	write *sql.DB // nil when opened for reading
	read  *sql.DB
	lock  *os.File
	run   int64 // id of this run's row
	wake  chan struct{}

	mu     sync.Mutex // held while writing; guards head
	head   head
	closed atomic.Bool

	folding sync.Mutex // held while readings are packed or moved in time
	series  seriesTable
	recent  recent
	check   check
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
// the lock that keeps a second daemon out (ErrInUse), brings the schema up to
// date (ErrNewer when it is ahead) and begins a run. A damaged file is set aside
// beside it under another name, which Health tells, and a new one is begun.
// After a run that did not end by Close the file is checked in the background.
func Open(ctx context.Context, cfg Config) (*Journal, error) {
	j := newJournal(cfg)
	if err := checkDirectory(cfg.Path); err != nil {
		return nil, err
	}
	lock, err := takeLock(cfg.Path)
	if err != nil {
		return nil, err
	}
	j.lock = lock
	err = j.setAsideIfMarked()
	if err == nil {
		err = j.begin(ctx)
	}
	if errors.Is(err, ErrDamaged) {
		err = j.startAfresh(ctx, err)
	}
	if err != nil {
		j.release()
		return nil, err
	}
	j.startCheck()
	return j, nil
}

// OpenReadOnly opens the journal beside a daemon that may be running. Whatever
// writes returns ErrReadOnly.
func OpenReadOnly(ctx context.Context, cfg Config) (*Journal, error) {
	if _, err := os.Stat(cfg.Path); err != nil {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	j := newJournal(cfg)
	db, err := openReaders(cfg.Path)
	if err != nil {
		return nil, err
	}
	j.read = db
	version, err := schemaVersion(ctx, db)
	if err == nil && version == 0 {
		err = errors.New("open journal: it is empty; no daemon has run on it yet")
	}
	if err != nil {
		j.release()
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

// begin opens both pools, migrates, and enters this run.
func (j *Journal) begin(ctx context.Context) error {
	if err := makeFile(j.cfg.Path); err != nil {
		return err
	}
	var err error
	if j.write, err = openWriter(ctx, j.cfg.Path); err != nil {
		return err
	}
	if err := migrate(ctx, j.write); err != nil {
		return err
	}
	if j.read, err = openReaders(j.cfg.Path); err != nil {
		return err
	}
	return j.enterRun(ctx)
}

// makeFile makes an empty file readable by the group alone, so that the files
// SQLite puts beside it, which take after it, are so too.
func makeFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o640)
	if errors.Is(err, os.ErrPermission) {
		return fmt.Errorf("open journal: %w: %w", ErrReadOnly, err)
	}
	if err != nil {
		return fmt.Errorf("open journal: %w", err)
	}
	return f.Close()
}

func (j *Journal) enterRun(ctx context.Context) error {
	return j.update(ctx, "enter run", func(tx *tx) error {
		var last sql.NullInt64
		if err := tx.row(`SELECT clean FROM run ORDER BY id DESC LIMIT 1`).Scan(&last); err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		j.check.unclean = last.Valid && last.Int64 == 0
		if err := tx.exec(`INSERT OR IGNORE INTO meta (name, value) VALUES ('id', ?)`, rand.Text()); err != nil {
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
	if j.write != nil && !j.closed.Load() && j.Health().Damage == "" {
		err = j.update(context.Background(), "end run", func(tx *tx) error {
			return tx.exec(`UPDATE run SET clean = 1 WHERE id = ?`, j.run)
		})
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.closed.Swap(true) {
		return nil
	}
	return errors.Join(err, j.release())
}

// release closes what is open: the readers first, so that the writer is the
// last connection and SQLite folds the write-ahead log into the file.
func (j *Journal) release() error {
	var errs []error
	for _, db := range []*sql.DB{j.read, j.write} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	if j.lock != nil {
		errs = append(errs, j.lock.Close())
	}
	return errors.Join(errs...)
}
