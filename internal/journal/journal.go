// Package journal is the one store of binwatchd and its one source of truth:
// every reading, jot and other event in the order in which it came, the changes
// that followed, the notices that are owed, the rules' snapshots and the daily
// history, in one SQLite file.
//
// # Strategy
//
// One transaction writes a batch of events together with everything that
// follows from them, and only when it is on disk (write-ahead log, synced at
// every commit) may the batch be acknowledged to the broker. Readings are only
// ever appended, by rising sequence number, so that a commit of a dozen readings
// dirties one page of the card. Later, in bulk, [Journal.Compact] packs them into
// compressed columns and adds them to an hourly and daily history; a chunk is one
// transaction as well, so a reading is always in exactly one place.
//
// A commit that fails leaves nothing behind: the sequence does not move, and the
// caller has to take its own state back to the last snapshot and replay.
//
// # What it must not do
//
// It judges nothing, decodes no payload and reads no clock but the Now it is
// given. It never deletes a damaged file: it puts it into quarantine beside it.
//
// The live loop (watch) is the only caller that appends; notify, influx, page,
// metrics and the commands read, and settle what they have delivered.
//
// # Where to read on
//
//	journal.go      opening and closing; what a Journal holds; settings.go its keys in the configuration
//	database.go     SQLite: connections and their promises, migrations, errors and their causes
//	transaction.go  how everything is written and read
//	append.go       a batch, and how it is written
//	row.go          readings and ticks as rows, and whose they are; event.go all other events
//	names.go        what things were called in rows, and are now; naming.go what a new farm makes of that
//	chunk.go        packed rows and how rows are read; packing.go the form of a chunk,
//	                in numbers that the package columns writes and reads
//	compaction.go   packs, packs anew, drops
//	history.go      daily summaries; samples.go curves made of them
//	replay.go       the events in order, for a restart and for forwarding
//	outbox.go       changes and the notices owed
//	checkpoint.go   what a restart goes on from: snapshots, cursors, repeats
//	restamp.go      moves a stretch in time
//	lock.go         one daemon at a time; identity.go is it still our file; wal.go SQLite's log
//	health.go       soundness, quarantine, sizes
//	program.go      which binwatchd runs on it, and the way back to an older one
//	backup.go       a copy; copies.go those made now and then; restore.go puts one back
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
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sys/unix"

	"binwatchd/internal/farm"
)

// A Config says where the journal is and how it is kept.
type Config struct {
	Path string           // the SQLite file; its directory must exist
	Keep time.Duration    // how long raw readings are kept; 0: for ever
	Log  *slog.Logger     // nil: nothing is logged
	Now  func() time.Time // the wall clock
	Boot Boot             // of this run; see ReadBoot

	// Brief says that it is opened by a command, to note something and be closed
	// at once. A daemon that starts meanwhile waits for that.
	Brief bool

	// Fault, when set, is called at each stage of a write ("begin", "append",
	// "commit", "committed", "compact"); its error makes the write fail there. It
	// exists for tests of what happens then.
	Fault func(stage string) error
}

// A Boot ties the wall clock to the kernel's monotonic one. It is noted for each
// run, so that times taken while the wall clock was wrong can be put right by hand.
type Boot struct {
	ID     string        // the kernel's boot id; "" when not known
	Offset time.Duration // wall clock minus time since boot, at the start of the run
}

// ReadBoot reads this machine's boot record from the kernel, with now as the
// wall clock. Time since boot counts sleep (CLOCK_BOOTTIME, clock_gettime(2)).
func ReadBoot(now time.Time) (Boot, error) {
	id, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return Boot{}, fmt.Errorf("read boot id: %w", err)
	}
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		return Boot{}, fmt.Errorf("read time since boot: %w", err)
	}
	return Boot{ID: strings.TrimSpace(string(id)), Offset: time.Duration(now.UnixNano() - ts.Nano())}, nil
}

// A Journal is an open journal. Its methods may be called from any goroutine;
// writes wait for each other, reads wait for nobody.
type Journal struct {
	cfg      Config
	log      *slog.Logger
	read     atomic.Pointer[sql.DB]
	lock     *os.File                  // beside the journal; nil when opened for reading
	lockFree *lockFree                 // nil unless opened for reading on a disk without room for more
	older    bool                      // it is of a schema before outboxSchema, and opened for reading
	nameless bool                      // of one before namesSchema, likewise
	run      int64                     // id of this run's row
	identity atomic.Pointer[identity]  // of the open file; nil when opened for reading
	farm     atomic.Pointer[farm.Farm] // the last SetFarm was given
	wake     chan struct{}

	mu     sync.Mutex   // held while writing; guards the rest of this block
	write  *sql.DB      // nil when opened for reading
	insert [2]*sql.Stmt // into reading_0 and reading_1
	head   head
	closed atomic.Bool

	compacting sync.Mutex // held while readings are packed or moved in time
	series     seriesTable
	called     nameTable
	recent     recent
	lastChunk  lastChunk
	events     eventCount
	check      check
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
// has it for a moment, brings the schema up to date (ErrNewer when it is ahead) and
// begins a run. A damaged file is put into quarantine: it gets another name, which
// Health tells, and a new one is begun. After a run that did not end by Close the
// file is checked in the background.
func Open(ctx context.Context, cfg Config) (*Journal, error) {
	j := newJournal(cfg)
	if err := checkPath(cfg.Path); err != nil {
		return nil, err
	}
	lock, err := awaitLock(ctx, cfg.Path, cfg.Brief)
	if err != nil {
		return nil, err
	}
	j.lock = lock
	j.reportTornLog()
	err = j.readDamageMark()
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
	if err := checkPath(cfg.Path); err != nil {
		return nil, err
	}
	j := newJournal(cfg)
	if err := j.openReading(ctx); err != nil {
		return nil, err
	}
	return j, nil
}

func newJournal(cfg Config) *Journal {
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	if cfg.Fault == nil {
		cfg.Fault = func(string) error { return nil }
	}
	return &Journal{cfg: cfg, log: cfg.Log, wake: make(chan struct{}, 1), check: check{lost: map[int64]bool{}}}
}

// checkPath refuses a path without its directory, and a file that is no database
// and has never been a journal: it may be a person's letters. A journal whose first
// page is damaged has the lock of an earlier run beside it.
func checkPath(path string) error {
	dir := filepath.Dir(path)
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return fmt.Errorf("open journal: there is no directory %s; make it, owned by the user binwatchd runs as", dir)
	case err != nil:
		return fmt.Errorf("open journal: %w", err)
	case !info.IsDir():
		return fmt.Errorf("open journal: %s is not a directory", dir)
	}
	if info, err := os.Stat(path); err != nil || !info.Mode().IsRegular() || info.Size() == 0 || exists(path+lockSuffix) {
		return nil // opening it says what is wrong, if anything is
	}
	f, err := os.Open(path)
	if err != nil {
		return nil // likewise
	}
	defer f.Close()
	start := make([]byte, len(sqliteHeader))
	n, err := f.ReadAt(start, 0)
	switch {
	case n > 0 && !strings.HasPrefix(sqliteHeader, string(start[:n])):
		return fmt.Errorf("open journal: %s is no journal, but another kind of file; it is left as it is: "+
			"give journal.path a file of its own", path)
	case n == 0:
		return fmt.Errorf("open journal: %w", err)
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
	id, err := identify(j.cfg.Path)
	if err != nil {
		return err
	}
	j.identity.Store(id)
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
	read, err := openPool(dataSource(j.cfg.Path, "ro", queryOnly), readers)
	if err != nil {
		return err
	}
	j.read.Store(read)
	return j.enterRun(ctx)
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
	f, err := openFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL)
	if err != nil {
		return false, err
	}
	return true, f.Close()
}

// openFile adds ErrReadOnly where a file may not be written to.
func openFile(path string, flags int) (*os.File, error) {
	f, err := os.OpenFile(path, flags, 0o640)
	if errors.Is(err, os.ErrPermission) || errors.Is(err, unix.EROFS) {
		err = fmt.Errorf("%w: %w", ErrReadOnly, err)
	}
	if err != nil {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	return f, nil
}

func (j *Journal) enterRun(ctx context.Context) error {
	return j.update(ctx, "enter run", func(t *tx) {
		unclean := t.number(`SELECT NOT clean FROM run ORDER BY id DESC LIMIT 1`) != 0
		j.check.set(func(h *Health) { h.Unclean = unclean })
		t.exec(`INSERT OR IGNORE INTO meta (name, value) VALUES ('id', ?)`, rand.Text())
		t.get(into(&t.head.id), `SELECT value FROM meta WHERE name = 'id'`)
		j.run = t.exec(`INSERT INTO run (boot, offset_ms, began, after_seq) VALUES (?, ?, ?, ?)`,
			j.cfg.Boot.ID, j.cfg.Boot.Offset.Milliseconds(), j.cfg.Now().UnixMilli(), t.head.next-1)
	})
}

// Close ends the run and closes the file. It waits for a write under way, stops
// the background check, and may be called twice.
func (j *Journal) Close() error {
	j.check.end()
	j.compacting.Lock()
	defer j.compacting.Unlock()
	var err error
	if j.lock != nil && !j.closed.Load() && j.Health().Damage == "" {
		err = j.update(context.Background(), "end run", func(t *tx) { t.exec(`UPDATE run SET clean = 1 WHERE id = ?`, j.run) })
	}
	if j.closed.Swap(true) {
		return nil
	}
	return errors.Join(err, j.release())
}

// release closes what is open. The writer goes last, so that it is the last
// connection and SQLite brings the write-ahead log into the file.
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
	var err error
	for _, db := range []*sql.DB{j.read.Load(), j.write} {
		if db != nil {
			err = errors.Join(err, db.Close())
		}
	}
	return errors.Join(err, j.identity.Swap(nil).close())
}

// forget drops what is remembered of the file: another one is opened.
func (j *Journal) forget() {
	j.series.forget()
	j.called.forget()
	j.recent.forgetAll()
	j.lastChunk.drop()
}
