package journal

import (
	"context"
	"errors"
	"fmt"
	"os"
	"sync"
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
	done   chan struct{}
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
	j.check.cancel, j.check.done = cancel, make(chan struct{})
	j.check.setChecking()
	j.log.Info("journal was not closed, checking it")
	go func() {
		defer close(j.check.done)
		j.runCheck(ctx)
	}()
}

func (j *Journal) runCheck(ctx context.Context) {
	err := quickCheck(ctx, j.read.Load())
	if errors.Is(err, ErrDamaged) {
		j.markDamaged(err)
	}
	j.check.mu.Lock()
	defer j.check.mu.Unlock()
	j.check.health.Checking = false
	j.check.health.Checked = err == nil
	switch {
	case err == nil:
		j.log.Info("journal is sound")
	case ctx.Err() == nil:
		j.log.Error("journal check ended with an error", "error", err)
	}
}

func (c *check) setUnclean(u bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.health.Unclean = u
}

func (c *check) setTorn(t torn) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.health.Torn = t.frames
}

func (c *check) setChecking() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.health.Checking = true
}

func (c *check) setHealth(h Health) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.health = h
}

// end stops the check and waits until it has stopped.
func (c *check) end() {
	if c.cancel != nil {
		c.cancel()
		<-c.done
	}
}

// noteDamage stops all writing when SQLite has found its file damaged. Other
// errors it ignores.
func (j *Journal) noteDamage(err error) {
	if fileDamaged(err) && j.lock != nil {
		j.markDamaged(err)
	}
}

// markDamaged records that the file is damaged, so that nothing more is written
// to it and the next Open sets it aside.
//
// Where the path names another file by now, it is not that one which is damaged.
func (j *Journal) markDamaged(err error) {
	if gone := j.present(); gone != nil {
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
	if j.check.lost == nil {
		j.check.lost = map[int64]bool{}
	}
	j.check.lost[e.first] = true
	j.check.health.Lost += e.rows
	j.log.Error("packed readings can't be read, passing over them", "first_seq", e.first, "last_seq", e.last, "rows", e.rows, "error", e.err)
}

// quickCheck asks SQLite whether the file hangs together.
func quickCheck(ctx context.Context, db querier) error {
	rows, err := db.QueryContext(ctx, `PRAGMA quick_check(5)`)
	if err != nil {
		return classify(fmt.Errorf("check journal: %w", err))
	}
	return firstComplaint(rows)
}
