package journal

import (
	"context"
	"path/filepath"
	"slices"
	"time"
)

// A Program is the binwatchd that runs on a journal, or ran on it last.
type Program struct {
	Version string    `json:"version"`
	Since   time.Time `json:"since"`   // its first start
	Changes int       `json:"changes"` // how many of the things that ever changed for a farm it knows
	Told    int       `json:"told"`    // how many of them are news no more
}

// Program gives what [Journal.SetProgram] noted last; used tells whether a daemon has run
// on the journal, other than this one since it was opened.
func (j *Journal) Program(ctx context.Context) (p Program, used bool, err error) {
	err = j.view(ctx, "read which program ran", func(t *tx) {
		used = t.number(`SELECT count(*) FROM run WHERE id <> ?`, j.run) > 0
		p = readProgram(t)
	})
	return p, used, err
}

func readProgram(t *tx) (p Program) {
	var text []byte
	if t.get(into(&text), `SELECT value FROM meta WHERE name = 'program'`) {
		t.fail(fromJSON(text, &p, "program", 0))
	}
	return p
}

// SetProgram notes which program runs.
func (j *Journal) SetProgram(ctx context.Context, p Program) error {
	return j.update(ctx, "note which program runs", func(t *tx) { t.setMeta("program", asJSON(t, p)) })
}

// A WayBack is where a journal can go back to that was written by a newer program.
type WayBack struct {
	Version string    // that program's; "": not known
	Copy    string    // the newest copy of the journal that this one can read; "": none was found
	Last    time.Time // when the newest thing in it arrived
}

// LookBack looks for the copies of a journal that lie in a folder, or were set aside
// beside it.
func LookBack(ctx context.Context, path, folder string) (w WayBack) {
	var id string
	_ = readAny(ctx, path, func(t *tx) { id, w.Version = journalID(t), readProgram(t).Version })
	there, _ := filepath.Glob(globEscape(path) + ".before-*") // the patterns are good ones
	if folder != "" && id != "" {
		more, _ := filepath.Glob(filepath.Join(globEscape(folder), copyPrefix(id)+"*"+copyEnd))
		there = append(there, more...)
	}
	var seq int64
	for _, file := range there {
		if slices.Contains(besides[:], file[max(0, len(file)-4):]) || isJournal(ctx, file) != nil {
			continue
		}
		var has string
		var last int64
		var at time.Time
		err := readAny(ctx, file, func(t *tx) {
			has, last = journalID(t), t.number(`SELECT `+newest)
			at = instant(t.number(`SELECT max((SELECT coalesce(max(arrived), 0) FROM unpacked), (SELECT coalesce(max(arrived_hi), 0) FROM chunk))`))
		})
		if err == nil && has == id && last > seq {
			w.Copy, w.Last, seq = file, at, last
		}
	}
	return w
}

// readAny reads from a journal of whatever schema.
func readAny(ctx context.Context, path string, fn func(*tx)) error {
	db, err := openPool(dataSource(path, "ro", queryOnly), 1)
	if err != nil {
		return err
	}
	defer db.Close()
	return transact(ctx, db, true, fn)
}
