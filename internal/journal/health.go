package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"
)

// Health is what is known of the file's soundness.
type Health struct {
	Unclean  bool   // the run before this one did not end by Close
	Checking bool   // the check after an unclean end is under way
	Checked  bool   // it has run and found nothing
	Damage   string // what is wrong with the file; nothing more is written to it. "": nothing known
	SetAside string // name of the damaged file that Open set aside; "": there was none
	Torn     int    // frames at the end of the log that Open found torn and SQLite dropped
	Lost     int64  // packed rows that can't be read and were passed over since Open
}

// check is the background check and what came of it.
type check struct {
	mu     sync.Mutex
	health Health
	lost   map[int64]bool // chunks passed over
	cancel context.CancelFunc
	runs   sync.WaitGroup
}

// Health tells how sound the file is, as far as is known. When Damage is set,
// Renew begins a new file; so does the next Open.
func (j *Journal) Health() Health {
	j.check.mu.Lock()
	defer j.check.mu.Unlock()
	return j.check.health
}

// startCheck checks the file in the background if the last run ended uncleanly.
// SQLite's own recovery makes the file whole again; the check is for cards that
// lost what they said was written.
func (j *Journal) startCheck() {
	if !j.Health().Unclean {
		return
	}
	ctx, cancel := context.WithCancel(context.Background())
	j.check.cancel = cancel
	j.check.set(func(h *Health) { h.Checking = true })
	j.log.Info("journal was not closed, checking it")
	j.check.runs.Go(func() { j.runCheck(ctx) })
}

func (j *Journal) runCheck(ctx context.Context) {
	err := checkFile(ctx, j.read.Load(), quickCheck)
	if errors.Is(err, ErrDamaged) {
		j.markDamaged(err)
	}
	j.check.set(func(h *Health) { h.Checking, h.Checked = false, err == nil })
	switch {
	case err == nil:
		j.log.Info("journal is sound")
	case ctx.Err() == nil:
		j.log.Error("journal check ended with an error", "error", err)
	}
}

func (c *check) set(change func(*Health)) {
	c.mu.Lock()
	defer c.mu.Unlock()
	change(&c.health)
}

// end stops the check and waits until it has stopped.
func (c *check) end() {
	if c.cancel != nil {
		c.cancel()
	}
	c.runs.Wait()
}

// noteDamage stops all writing when SQLite has found its file damaged. Other
// errors it ignores.
func (j *Journal) noteDamage(err error) {
	if causeOf(err) == ErrDamaged && j.lock != nil {
		j.markDamaged(err)
	}
}

// markDamaged records that the file is damaged, so that nothing more is written
// to it and the next Open sets it aside.
//
// Where the path names another file by now, it is not that one which is damaged.
func (j *Journal) markDamaged(err error) {
	if gone := j.identity.Load().same(); gone != nil {
		j.log.Error("journal could not be read", "error", err, "because", gone)
		return
	}
	j.check.mu.Lock()
	defer j.check.mu.Unlock()
	if j.check.health.Damage != "" {
		return
	}
	j.check.health.Damage = err.Error()
	j.log.Error("journal is damaged", "path", j.cfg.Path, "error", err)
	if err := os.WriteFile(j.cfg.Path+markSuffix, []byte(err.Error()+"\n"), 0o640); err != nil {
		j.log.Error("damage could not be marked", "error", err)
	}
}

// noteLost says once for each chunk that its rows are passed over.
func (j *Journal) noteLost(e *chunkError) {
	j.check.mu.Lock()
	defer j.check.mu.Unlock()
	if j.check.lost[e.first] {
		return
	}
	j.check.lost[e.first] = true
	j.check.health.Lost += e.rows
	j.log.Error("packed readings can't be read, passing over them",
		"first_seq", e.first, "last_seq", e.last, "rows", e.rows, "error", e.err)
}

// The checks that SQLite has for a file.
const (
	quickCheck = "quick_check" // whether it hangs together
	fullCheck  = "integrity_check"
)

// checkFile has SQLite check its file. The answer is the one row "ok", or a row for
// each fault.
func checkFile(ctx context.Context, db *sql.DB, check string) error {
	var said string
	err := db.QueryRowContext(ctx, `PRAGMA `+check+`(5)`).Scan(&said)
	switch {
	case err != nil:
		return classify(fmt.Errorf("check journal: %w", err))
	case said != "ok":
		return fmt.Errorf("check journal: %w: %s", ErrDamaged, said)
	}
	return nil
}

// markSuffix names the file beside the journal that says it is damaged.
const markSuffix = ".damage"

// readDamageMark gives ErrDamaged when an earlier run found damage.
func (j *Journal) readDamageMark() error {
	text, err := os.ReadFile(j.cfg.Path + markSuffix)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("open journal: %w", err)
	}
	return fmt.Errorf("%w: %s", ErrDamaged, strings.TrimSpace(string(text)))
}

// Renew sets a file aside that was found to be damaged and begins a new one in
// its place, so that a daemon nobody watches goes on. It does nothing while no
// damage is known. The new file knows nothing: no snapshot, nothing owed. Where
// the log was taken away from beside the file, what it held is brought into the
// file, which is opened again.
func (j *Journal) Renew(ctx context.Context) error {
	j.check.end()
	j.compacting.Lock()
	defer j.compacting.Unlock()
	if j.closed.Load() {
		return ErrClosed
	}
	if err := j.renewLog(ctx); err != nil {
		return err
	}
	damage := j.Health().Damage
	switch {
	case damage != "":
		if err := j.startAfresh(ctx, errors.New(damage)); err != nil {
			return err
		}
		if f := j.farm.Load(); f != nil {
			return j.SetFarm(ctx, f)
		}
	case j.identity.Load() == nil && j.lock != nil: // the last attempt did not succeed
		return j.begin(ctx)
	}
	return nil
}

// renewLog goes on with a new log where the one that is open has lost its name:
// all of it is brought into the file first.
func (j *Journal) renewLog(ctx context.Context) error {
	var moved *MovedError
	if err := j.identity.Load().same(); !errors.As(err, &moved) || moved.What != LogGone {
		return err
	}
	if err := j.emptyLog(ctx); err != nil {
		return errors.Join(moved, err)
	}
	if err := j.closePools(); err != nil {
		j.log.Warn("journal did not close", "error", err)
	}
	j.log.Warn("the journal's log was taken away; what it held is in the file, and a new one is begun", "path", j.cfg.Path)
	j.forget()
	return j.begin(ctx)
}

// emptyLog brings all of the log into the file.
func (j *Journal) emptyLog(ctx context.Context) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	var busy, log, filed int
	if err := j.write.QueryRowContext(ctx, `PRAGMA wal_checkpoint(TRUNCATE)`).Scan(&busy, &log, &filed); err != nil {
		return classify(fmt.Errorf("bring the log into the file: %w", err))
	}
	if busy != 0 {
		return errors.New("bring the log into the file: it is being read")
	}
	return nil
}

// startAfresh puts the damaged file into quarantine and begins a new one. Nothing is
// deleted: a person may yet get the readings out of it with SQLite's own tools.
func (j *Journal) startAfresh(ctx context.Context, damage error) error {
	if err := j.closePools(); err != nil {
		j.log.Warn("damaged journal did not close", "error", err)
	}
	aside, err := setAside(j.cfg.Path, "damaged", j.cfg.Now())
	if err != nil {
		return err
	}
	j.log.Error("damaged journal set aside, a new one is begun", "set_aside", aside, "error", damage)
	j.forget()
	j.check.set(func(h *Health) { *h = Health{SetAside: aside} })
	if err = j.begin(ctx); err != nil {
		j.check.set(func(h *Health) { h.Damage = damage.Error() })
	}
	return err
}

// setAside gives the file, its log and its mark a name with a word and the time, and
// says which. The log goes first: a log left behind would be taken for that of the
// new file.
func setAside(path, word string, now time.Time) (string, error) {
	name := path + "." + word + "-" + now.UTC().Format("20060102T150405Z")
	aside := name
	for n := 2; exists(aside); n++ {
		aside = fmt.Sprintf("%s-%d", name, n)
	}
	for _, part := range []string{"-wal", "-shm", "", markSuffix} {
		err := os.Rename(path+part, aside+part)
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return "", fmt.Errorf("set the journal aside: %w", err)
		}
	}
	return filepath.Base(aside), syncDirectory(path)
}

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
func (j *Journal) Sizes(ctx context.Context) (s Sizes, err error) {
	err = j.view(ctx, "measure journal", func(t *tx) {
		s.Last = t.number(`SELECT ` + newest)
		s.Events = j.events.count(t, s.Last)
		// Of two tables in one question SQLite would sort all rows to find the first.
		t.get(into(&s.FreeBytes, &s.Packed, &s.Unpacked, millis{&s.Oldest}), `SELECT
			(SELECT page_size FROM pragma_page_size) * (SELECT freelist_count FROM pragma_freelist_count),
			coalesce((SELECT sum(readings) FROM chunk), 0), ?2 - ?1 - (SELECT count(*) FROM event WHERE seq > ?1),
			coalesce((SELECT arrived_lo FROM chunk ORDER BY first LIMIT 1), (SELECT min(arrived) FROM (
				SELECT (SELECT arrived FROM reading_0 ORDER BY seq LIMIT 1) AS arrived UNION ALL SELECT (SELECT arrived FROM reading_1 ORDER BY seq LIMIT 1))))`,
			t.number(packedTo), s.Last)
	})
	if err == nil {
		s.FileBytes, err = fileSize(j.cfg.Path)
	}
	if err == nil {
		s.LogBytes, err = fileSize(j.cfg.Path + "-wal")
	}
	return s, err
}

// An eventCount is how many events there are up to a sequence number. After ten years
// they are a million and take long to count: it goes on from there, until some are dropped.
type eventCount struct {
	mu               sync.Mutex
	n, upTo, dropped int64
}

// count gives how many there are up to the last sequence number, or some more.
func (c *eventCount) count(t *tx, last int64) int64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	if dropped := t.number(`SELECT value FROM meta WHERE name = 'dropped'`); dropped != c.dropped {
		c.n, c.upTo, c.dropped = 0, 0, dropped
	}
	more := t.number(`SELECT count(*) FROM event WHERE seq > ? AND seq <= ?`, c.upTo, last)
	if t.err == nil && last > c.upTo {
		c.n, c.upTo = c.n+more, last
	}
	return c.n
}

// fileSize is 0 where there is no file.
func fileSize(path string) (int64, error) {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return 0, nil
	case err != nil:
		return 0, err
	}
	return info.Size(), nil
}
