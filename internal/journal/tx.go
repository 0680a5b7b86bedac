package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// tx is one writing transaction with the end of the journal as it will be once
// the transaction is committed.
type tx struct {
	*sql.Tx
	ctx  context.Context
	head head
}

func (t *tx) exec(query string, args ...any) error {
	_, err := t.ExecContext(t.ctx, query, args...)
	return err
}

func (t *tx) row(query string, args ...any) *sql.Row {
	return t.QueryRowContext(t.ctx, query, args...)
}

// insert gives the row id of what it inserted.
func (t *tx) insert(query string, args ...any) (int64, error) {
	res, err := t.ExecContext(t.ctx, query, args...)
	if err != nil {
		return 0, err
	}
	return res.LastInsertId()
}

// update runs fn in one transaction and commits it. After any error nothing of
// it is in the file, or at most what a commit that reported an error had
// already written; either way the head is read anew before the next write.
func (j *Journal) update(ctx context.Context, what string, fn func(*tx) error) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	err := j.tryUpdate(ctx, fn)
	if err == nil {
		return nil
	}
	j.head.known = false
	j.reopenWriter()
	err = fullAt(j.cfg.Path, classify(fmt.Errorf("%s: %w", what, err)))
	j.noteDamage(err)
	return err
}

func (j *Journal) tryUpdate(ctx context.Context, fn func(*tx) error) (err error) {
	if err := j.writable(); err != nil {
		return err
	}
	if err := j.inPlace(ctx); err != nil {
		return err
	}
	defer func() { err = j.stillInPlace(err) }()
	if err := j.fault("begin"); err != nil {
		return err
	}
	sqlTx, err := j.write.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer sqlTx.Rollback() // after a commit it does nothing
	t := &tx{Tx: sqlTx, ctx: ctx, head: j.head}
	if !t.head.known {
		if t.head, err = readHead(t); err != nil {
			return err
		}
	}
	if err := fn(t); err != nil {
		return err
	}
	if err := j.fault("commit"); err != nil {
		return err
	}
	if err := sqlTx.Commit(); err != nil {
		return err
	}
	j.head = t.head
	return j.fault("committed")
}

// stillInPlace looks for the file once more after a write, successful or not:
// what went into a file without a name must not be acknowledged.
func (j *Journal) stillInPlace(err error) error {
	f := j.stands.Load()
	if gone := f.whole(); gone != nil {
		return errors.Join(err, gone)
	}
	f.note()
	return err
}

// reopenWriter sees to it that a connection holds the log open after a write
// that did not succeed: an interrupted one is thrown away by its pool, and with
// the last one SQLite takes the log away.
func (j *Journal) reopenWriter() {
	f := j.stands.Load()
	if j.write == nil || j.closed.Load() || f.whole() != nil {
		return
	}
	var version int
	if err := j.write.QueryRow(`PRAGMA schema_version`).Scan(&version); err == nil && f != nil {
		f.mu.Lock()
		defer f.mu.Unlock()
		f.noteBeside()
	}
}

// writable tells why nothing may be written, if so. The caller holds mu.
func (j *Journal) writable() error {
	switch {
	case j.closed.Load():
		return ErrClosed
	case j.write == nil:
		return ErrReadOnly
	}
	if d := j.Health().Damage; d != "" {
		return fmt.Errorf("%w: %s", ErrDamaged, d)
	}
	return nil
}

func (j *Journal) fault(stage string) error {
	if j.cfg.Fault == nil {
		return nil
	}
	return j.cfg.Fault(stage)
}

func readHead(t *tx) (head, error) {
	h := head{known: true}
	row := t.row(`SELECT
		coalesce((SELECT value FROM meta WHERE name = 'id'), ''),
		coalesce((SELECT value FROM meta WHERE name = 'table'), 0),
		coalesce((SELECT session FROM session ORDER BY after_seq DESC LIMIT 1), 0),
		max((SELECT coalesce(max(seq), 0) FROM reading_0), (SELECT coalesce(max(seq), 0) FROM reading_1),
		    (SELECT coalesce(max(seq), 0) FROM event), (SELECT coalesce(max(last), 0) FROM chunk))`)
	var last int64
	err := row.Scan(&h.id, &h.table, &h.session, &last)
	h.next = last + 1
	return h, err
}

// view runs fn in one reading transaction: everything it reads is of one moment.
func (j *Journal) view(ctx context.Context, what string, fn func(*sql.Tx) error) error {
	db, err := j.reader()
	if err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	if err := j.present(); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	t, err := db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return classify(fmt.Errorf("%s: %w", what, err))
	}
	defer t.Rollback() // it has nothing to commit
	if err := fn(t); err != nil {
		j.noteDamage(err)
		return fullAt(j.cfg.Path, classify(fmt.Errorf("%s: %w", what, err)))
	}
	if err := errors.Join(j.still.check(), j.present()); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	return nil
}

// present tells whether a new connection would open the file that the journal
// has open, and not another one under its name.
func (j *Journal) present() error {
	return j.stands.Load().same()
}
