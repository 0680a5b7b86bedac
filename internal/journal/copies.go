package journal

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/sys/unix"

	"binwatchd/internal/farm"
)

const (
	copyStamp = "20060102T150405Z" // in a copy's name: when it was made
	copyEnd   = ".db"

	// retryCopy is how long it takes until a copy is tried again that could not be
	// made; a folder that is not there is looked for at each turn.
	retryCopy = time.Hour
	// overdueMost is how long a copy can be overdue at most before the keeper is told.
	overdueMost = 24 * time.Hour
)

// Copies makes copies of a journal now and then, in a folder that is best on a stick
// or on another machine.
//
// A copy's name tells of which journal it is and when it was made: two farms can
// share a folder, and the copies from before a damage are not driven out by those of
// the journal begun after it. It has that name only once it was checked, so that
// what is there by name is good; and an old one goes only when a new one is there.
type Copies struct {
	cfg     BackupSettings
	journal string // its path
	log     *slog.Logger
	tell    func(farm.Trouble) error

	// One goroutine takes turns; these are its own.
	began time.Time // the first turn; zero: there was none
	again time.Time // no copy is tried before
	told  bool      // that none can be made
	heard bool      // something has been told since the start

	mu    sync.Mutex
	state farm.Copies
}

// NewCopies has copies made of the journal at a path. Where they can't be made for
// long, and when they can be again, tell is called; nil: nobody is told.
func NewCopies(cfg BackupSettings, path string, log *slog.Logger, tell func(farm.Trouble) error) *Copies {
	return &Copies{cfg: cfg, journal: path, log: log, tell: tell}
}

// State tells how the copying stands. Any goroutine may ask.
func (c *Copies) State() farm.Copies {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.state
}

// Turn makes a copy if one is due at a time, and gives its path; "" for none. It is
// to be called each minute or so, and does nothing most times. Nothing that writes
// waits for it.
func (c *Copies) Turn(ctx context.Context, j *Journal, now time.Time) (made string, err error) {
	if c.began.IsZero() {
		c.began = now
	}
	if !c.due(now) || now.Before(c.again) {
		return "", nil
	}
	var there []time.Time
	id, err := viewed(ctx, j, "read the journal's name", journalID)
	if err == nil {
		there, err = c.list(id)
	}
	if err == nil {
		c.count(there, now)
		if c.due(now) {
			made, err = c.make(ctx, j, id, there, now)
		}
	}
	if ctx.Err() != nil {
		return "", ctx.Err()
	}
	c.conclude(err, now)
	return made, err
}

// due tells whether a copy is to be made. One of a time to come, by a clock that was
// wrong then, does not count.
func (c *Copies) due(now time.Time) bool {
	last := c.State().Last
	return last.IsZero() || last.After(now) || now.Sub(last) >= c.cfg.Every
}

// count notes what copies there are.
func (c *Copies) count(there []time.Time, now time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.state.Kept, c.state.Last = len(there), time.Time{}
	for _, at := range there {
		if !at.After(now) && at.After(c.state.Last) {
			c.state.Last = at
		}
	}
}

// list gives the times of a journal's copies, once the folder is one that they may
// lie in.
func (c *Copies) list(id string) (there []time.Time, err error) {
	if err := c.place(); err != nil {
		return nil, err
	}
	entries, err := os.ReadDir(c.cfg.To)
	if err != nil {
		return nil, fmt.Errorf("look for copies: %w", err)
	}
	for _, e := range entries {
		rest, ours := strings.CutPrefix(e.Name(), copyPrefix(id))
		stamp, whole := strings.CutSuffix(rest, copyEnd)
		if at, err := time.Parse(copyStamp, stamp); ours && whole && err == nil {
			there = append(there, at)
		}
	}
	return there, nil
}

// copyPrefix begins the names of a journal's copies.
func copyPrefix(id string) string { return "binwatchd-" + strings.ToLower(id[:min(6, len(id))]) + "-" }

func (c *Copies) path(id string, at time.Time) string {
	return filepath.Join(c.cfg.To, copyPrefix(id)+at.UTC().Format(copyStamp)+copyEnd)
}

// place refuses a folder that is not there and, unless it was said otherwise, one on
// the machine's own disk: where a stick is to be mounted and is not, copies would fill
// that, and be lost with it.
func (c *Copies) place() error {
	to, err := os.Stat(c.cfg.To)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("there is no folder %s; plug the stick in and mount it, or make the folder", c.cfg.To)
	case err != nil:
		return fmt.Errorf("look at the folder for copies: %w", err)
	case !to.IsDir():
		return fmt.Errorf("%s is no folder", c.cfg.To)
	case c.cfg.Disk == SameDisk:
		return nil
	}
	for _, own := range []string{filepath.Dir(c.journal), "/"} {
		var is, has unix.Stat_t
		if err := errors.Join(unix.Stat(c.cfg.To, &has), unix.Stat(own, &is)); err != nil {
			return fmt.Errorf("look at the folder for copies: %w", err)
		}
		if is.Dev == has.Dev {
			return fmt.Errorf("%s lies on the machine's own disk, so no stick is mounted there; mount it, or allow that with disk: same (the command backup: --disk same)", c.cfg.To)
		}
	}
	return nil
}

// make makes a copy, and lets those go that are over the number to keep.
func (c *Copies) make(ctx context.Context, j *Journal, id string, there []time.Time, now time.Time) (string, error) {
	path := c.path(id, now)
	err := c.tidy(id)
	if err == nil {
		there, err = c.prune(id, there, now)
	}
	if err == nil {
		err = c.room()
	}
	if err == nil {
		err = j.Backup(ctx, path)
	}
	if err != nil {
		c.again = now.Add(min(retryCopy, c.cfg.Every))
		if errors.Is(err, unix.EROFS) || errors.Is(err, fs.ErrPermission) || errors.Is(err, ErrReadOnly) {
			err = fmt.Errorf("%w; the daemon must be allowed to write in %s, by its owner and, under systemd, by ReadWritePaths=", err, c.cfg.To)
		}
		return "", err
	}
	there, err = c.prune(id, append(there, now.UTC().Truncate(time.Second)), now)
	c.count(there, now)
	if err != nil {
		c.log.Warn("an old copy of the journal could not be removed", "error", err)
	}
	return path, nil
}

// tidy removes what a copy left that was broken off by a power cut.
func (c *Copies) tidy(id string) error {
	parts, _ := filepath.Glob(globEscape(filepath.Join(c.cfg.To, copyPrefix(id))) + "*" + copyEnd + partSuffix + "*") // the pattern is a good one
	for _, p := range parts {
		if err := os.Remove(p); err != nil {
			return fmt.Errorf("remove what is left of a copy: %w", err)
		}
	}
	return nil
}

// globEscape has each sign of a path stand for itself in a pattern.
func globEscape(path string) string {
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(path)
}

// prune removes the oldest of the copies that are over the number to keep, and gives
// those that stay. Those of a time to come, by a clock that was wrong then, go first.
func (c *Copies) prune(id string, there []time.Time, now time.Time) ([]time.Time, error) {
	slices.SortFunc(there, func(a, b time.Time) int {
		if a.After(now) != b.After(now) {
			return b.Compare(a)
		}
		return a.Compare(b)
	})
	for len(there) > c.cfg.Keep {
		if err := os.Remove(c.path(id, there[0])); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return there, fmt.Errorf("remove an old copy: %w", err)
		}
		there = there[1:]
	}
	return there, nil
}

// room refuses a copy for which there is no room; beside the journal, one that would
// leave the journal none to grow.
func (c *Copies) room() error {
	file, err := fileSize(c.journal)
	log, errLog := fileSize(c.journal + "-wal")
	var disk unix.Statfs_t
	if err := errors.Join(err, errLog, unix.Statfs(c.cfg.To, &disk)); err != nil {
		return fmt.Errorf("look for room for a copy: %w", err)
	}
	needs, has := file+log, int64(disk.Bavail)*int64(disk.Bsize)
	if c.cfg.Disk == SameDisk {
		needs *= 2
	}
	if has < needs {
		return fmt.Errorf("%w: a copy takes up to %d MB, and %s has %d; make room, or keep fewer", ErrFull, needs>>20+1, c.cfg.To, has>>20)
	}
	return nil
}

// conclude notes how a turn went, and tells the keeper where none goes well for long.
func (c *Copies) conclude(err error, now time.Time) {
	why := ""
	if err != nil {
		why = strings.TrimSuffix(err.Error(), ".")
	}
	c.mu.Lock()
	was := c.state.Trouble
	c.state.Trouble = why
	last := c.state.Last
	c.mu.Unlock()
	switch {
	case err == nil && (c.told || !c.heard):
		c.say(farm.Trouble{Condition: farm.Uncopied, Over: true, Text: "The journal is copied."})
	case err == nil:
	case why != was:
		c.log.Warn("journal not copied; it is tried again", "error", err)
	}
	due := c.began
	if !last.IsZero() && !last.After(now) {
		due = last.Add(c.cfg.Every)
	}
	if err != nil && !c.told && now.Sub(due) >= min(c.cfg.Every, overdueMost) {
		text := "There is no copy of the journal (" + why + ")."
		if !last.IsZero() {
			text = "The last copy of the journal is " + farm.SayLong(now.Sub(last)) + " old (" + why + ")."
		}
		c.say(farm.Trouble{Condition: farm.Uncopied, Text: text})
	}
}

// say tells the keeper. What could not be noted is told again at the next turn.
func (c *Copies) say(t farm.Trouble) {
	if c.tell == nil || c.tell(t) == nil {
		c.told, c.heard = !t.Over, true
	}
}
