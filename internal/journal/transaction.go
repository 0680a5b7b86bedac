package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
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

// setMeta notes a number under a name.
func (t *tx) setMeta(name string, value any) error {
	return t.exec(`INSERT OR REPLACE INTO meta (name, value) VALUES (?, ?)`, name, value)
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
		if t.head, err = readHead(ctx, t); err != nil {
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
	id := j.identity.Load()
	if gone := id.whole(); gone != nil {
		return errors.Join(err, gone)
	}
	id.note()
	return err
}

// reopenWriter sees to it that a connection holds the log open after a write
// that did not succeed: an interrupted one is thrown away by its pool, and with
// the last one SQLite takes the log away.
func (j *Journal) reopenWriter() {
	id := j.identity.Load()
	if j.write == nil || j.closed.Load() || id.whole() != nil {
		return
	}
	var version int
	if err := j.write.QueryRow(`PRAGMA schema_version`).Scan(&version); err == nil && id != nil {
		id.mu.Lock()
		defer id.mu.Unlock()
		id.noteBeside()
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

func readHead(ctx context.Context, q querier) (head, error) {
	h := head{known: true}
	err := q.QueryRowContext(ctx, `SELECT
		coalesce((SELECT value FROM meta WHERE name = 'id'), ''),
		coalesce((SELECT value FROM meta WHERE name = 'table'), 0),
		coalesce((SELECT session FROM session ORDER BY after_seq DESC LIMIT 1), 0), 1 + `+newest).
		Scan(&h.id, &h.table, &h.session, &h.next)
	return h, err
}

// newest is, in SQL, the newest sequence number; 0 when there is none.
const newest = `max((SELECT coalesce(max(seq), 0) FROM reading_0), (SELECT coalesce(max(seq), 0) FROM reading_1),
	(SELECT coalesce(max(seq), 0) FROM event), (SELECT coalesce(max(last), 0) FROM chunk))`

// querier is a pool or a transaction: whatever can be asked.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// number gives the one number that a query answers.
func number(ctx context.Context, q querier, query string, args ...any) (n int64, err error) {
	err = q.QueryRowContext(ctx, query, args...).Scan(&n)
	return n, err
}

// each calls fn for every row that a query answers.
func each(ctx context.Context, q querier, fn func(*sql.Rows) error, query string, args ...any) error {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := fn(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// collect gives all rows that a query answers.
func collect[T any](ctx context.Context, q querier, scan func(*sql.Rows) (T, error), query string, args ...any) (out []T, err error) {
	err = each(ctx, q, func(rows *sql.Rows) error {
		v, err := scan(rows)
		out = append(out, v)
		return err
	}, query, args...)
	if err != nil {
		return nil, err
	}
	return out, nil
}

// viewAll is collect in a transaction of its own.
func viewAll[T any](ctx context.Context, j *Journal, what string, scan func(*sql.Rows) (T, error), query string, args ...any) (out []T, err error) {
	err = j.view(ctx, what, func(t *sql.Tx) (err error) {
		out, err = collect(ctx, t, scan, query, args...)
		return err
	})
	return out, err
}

// viewNumber is number in a transaction of its own.
func (j *Journal) viewNumber(ctx context.Context, what, query string, args ...any) (n int64, err error) {
	err = j.view(ctx, what, func(t *sql.Tx) (err error) {
		n, err = number(ctx, t, query, args...)
		return err
	})
	return n, err
}

// view runs fn in one reading transaction, without waiting for a write under way:
// everything it reads is of one moment.
func (j *Journal) view(ctx context.Context, what string, fn func(*sql.Tx) error) error {
	if j.closed.Load() {
		return fmt.Errorf("%s: %w", what, ErrClosed)
	}
	if err := j.identity.Load().same(); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	t, err := j.read.Load().BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return classify(fmt.Errorf("%s: %w", what, err))
	}
	defer t.Rollback() // it has nothing to commit
	if err := fn(t); err != nil {
		j.noteDamage(err)
		return fullAt(j.cfg.Path, classify(fmt.Errorf("%s: %w", what, err)))
	}
	if err := errors.Join(j.lockFree.check(), j.identity.Load().same()); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	return nil
}

// instant is the time of milliseconds since 1970, in UTC.
func instant(ms int64) time.Time { return time.UnixMilli(ms).UTC() }
