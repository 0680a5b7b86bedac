package journal

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// markSuffix names the file beside the journal that says it is damaged.
const markSuffix = ".damage"

// damageMarked gives ErrDamaged when an earlier run found damage.
func (j *Journal) damageMarked() error {
	text, err := os.ReadFile(j.cfg.Path + markSuffix)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
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
	j.folding.Lock()
	defer j.folding.Unlock()
	damage := j.Health().Damage
	if j.closed.Load() {
		return ErrClosed
	}
	if err := j.mendLog(ctx); err != nil {
		return err
	}
	if damage == "" && j.stands.Load() == nil && j.lock != nil { // the last attempt did not succeed
		return j.begin(ctx)
	}
	if damage == "" {
		return nil
	}
	if err := j.startAfresh(ctx, errors.New(damage)); err != nil {
		return err
	}
	j.mu.Lock()
	f := j.farm
	j.mu.Unlock()
	if f == nil {
		return nil
	}
	return j.SetFarm(ctx, f)
}

// mendLog goes on with a new log where the one that is open has lost its name:
// all of it is brought into the file first.
func (j *Journal) mendLog(ctx context.Context) error {
	var moved *MovedError
	if err := j.present(); !errors.As(err, &moved) || moved.What != LogGone {
		return err
	}
	if err := j.emptyLog(ctx); err != nil {
		return errors.Join(moved, err)
	}
	if err := j.closePools(); err != nil {
		j.log.Warn("journal did not close", "error", err)
	}
	j.log.Warn("the journal's log was taken away; what it held is in the file, and a new one is begun", "path", j.cfg.Path)
	j.series.forget()
	j.recent.reset()
	j.unpacked.drop()
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

// startAfresh sets the damaged file aside and begins a new one. Nothing is
// deleted: a person may yet get the readings out of it with SQLite's own tools.
func (j *Journal) startAfresh(ctx context.Context, damage error) error {
	if err := j.closePools(); err != nil {
		j.log.Warn("damaged journal did not close", "error", err)
	}
	aside, err := j.setAside()
	if err != nil {
		return err
	}
	j.log.Error("damaged journal set aside, a new one is begun", "set_aside", aside, "error", damage)
	j.series.forget()
	j.recent.reset()
	j.unpacked.drop()
	j.check.setHealth(Health{SetAside: aside})
	if err := j.begin(ctx); err != nil {
		j.check.setHealth(Health{SetAside: aside, Damage: damage.Error()})
		return err
	}
	return nil
}

// setAside renames the file, its log and its mark, and says to what. The log
// goes first: a log left behind would be taken for that of the new file.
func (j *Journal) setAside() (string, error) {
	aside := j.cfg.Path + ".damaged-" + j.cfg.Now().UTC().Format("20060102T150405Z")
	for n := 2; exists(aside); n++ {
		aside = fmt.Sprintf("%s.damaged-%s-%d", j.cfg.Path, j.cfg.Now().UTC().Format("20060102T150405Z"), n)
	}
	for _, part := range []string{"-wal", "-shm", "", markSuffix} {
		err := os.Rename(j.cfg.Path+part, aside+part)
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return "", fmt.Errorf("set damaged journal aside: %w", err)
		}
	}
	return filepath.Base(aside), syncDirectory(j.cfg.Path)
}

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// syncDirectory makes renames and new names in path's directory durable.
func syncDirectory(path string) error {
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return fmt.Errorf("sync directory: %w", err)
	}
	defer dir.Close()
	if err := dir.Sync(); err != nil {
		return fmt.Errorf("sync directory: %w", err)
	}
	return nil
}
