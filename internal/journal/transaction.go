package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// tx is one transaction. After the first error, which err keeps, its methods do
// nothing and give zeros: steps stand one below the other, and who runs the
// transaction gives the error back. What loops or takes long looks at err.
type tx struct {
	sql  *sql.Tx
	ctx  context.Context
	head head // when it writes: the end of the journal as it will be once it is committed
	err  error
}

// fail keeps an error, if it is one and the first.
func (t *tx) fail(err error) {
	if t.err == nil {
		t.err = err
	}
}

// exec gives the row id of what it inserted last.
func (t *tx) exec(query string, args ...any) (id int64) {
	if t.err != nil {
		return 0
	}
	res, err := t.sql.ExecContext(t.ctx, query, args...)
	if err == nil {
		id, err = res.LastInsertId()
	}
	t.fail(err)
	return id
}

// get reads the one row that a query answers; found is false when it answers none.
func (t *tx) get(to []any, query string, args ...any) (found bool) {
	if t.err != nil {
		return false
	}
	err := t.sql.QueryRowContext(t.ctx, query, args...).Scan(to...)
	if errors.Is(err, sql.ErrNoRows) {
		return false
	}
	t.fail(err)
	return err == nil
}

func into(to ...any) []any { return to }

// number gives the one number that a query answers, 0 for none and for NULL.
func (t *tx) number(query string, args ...any) int64 {
	var n sql.NullInt64
	t.get(into(&n), query, args...)
	return n.Int64
}

// setMeta notes a number under a name.
func (t *tx) setMeta(name string, value any) {
	t.exec(`INSERT OR REPLACE INTO meta (name, value) VALUES (?, ?)`, name, value)
}

// each calls fn for every row that a query answers.
func (t *tx) each(fn func(*sql.Rows) error, query string, args ...any) {
	if t.err != nil {
		return
	}
	rows, err := t.sql.QueryContext(t.ctx, query, args...)
	if err != nil {
		t.fail(err)
		return
	}
	defer rows.Close()
	for t.err == nil && rows.Next() {
		t.fail(fn(rows))
	}
	t.fail(rows.Err())
}

// collect gives all rows that a query answers.
func collect[T any](t *tx, scan func(*T, *sql.Rows) error, query string, args ...any) (out []T) {
	t.each(func(rows *sql.Rows) error {
		out = append(out, *new(T))
		return scan(&out[len(out)-1], rows)
	}, query, args...)
	return out
}

// millis reads a column of milliseconds into a time; NULL leaves that as it is.
type millis struct{ *time.Time }

func (m millis) Scan(column any) error {
	if ms, ok := column.(int64); ok {
		*m.Time = instant(ms)
	}
	return nil
}

// update runs fn in one transaction and commits it. After any error nothing of
// it is in the file, or at most what a commit that reported an error had
// already written; either way the head is read anew before the next write.
func (j *Journal) update(ctx context.Context, what string, fn func(*tx)) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	err := j.writable()
	if err == nil {
		err = j.inPlace(ctx)
	}
	if err == nil {
		err = j.stillInPlace(j.tryUpdate(ctx, fn))
	}
	if err == nil {
		return nil
	}
	j.head.known = false
	j.reopenWriter()
	err = j.explain(what, err)
	j.noteDamage(err)
	return err
}

func (j *Journal) tryUpdate(ctx context.Context, fn func(*tx)) error {
	if err := j.cfg.Fault("begin"); err != nil {
		return err
	}
	head := j.head
	err := transact(ctx, j.write, false, func(t *tx) {
		if t.head = head; !head.known {
			t.head = readHead(t)
		}
		if t.err == nil {
			fn(t)
		}
		if t.err == nil {
			t.fail(j.cfg.Fault("commit"))
		}
		head = t.head
	})
	if err != nil {
		return err
	}
	j.head = head
	return j.cfg.Fault("committed")
}

// transact runs fn in one transaction and commits it.
func transact(ctx context.Context, db *sql.DB, readOnly bool, fn func(*tx)) error {
	sqlTx, err := db.BeginTx(ctx, &sql.TxOptions{ReadOnly: readOnly})
	if err != nil {
		return err
	}
	defer sqlTx.Rollback() // after a commit it does nothing
	t := &tx{sql: sqlTx, ctx: ctx}
	if fn(t); t.err != nil {
		return t.err
	}
	return sqlTx.Commit()
}

// explain says what was being done, and adds the cause a caller can act on.
func (j *Journal) explain(what string, err error) error {
	return fullAt(j.cfg.Path, classify(fmt.Errorf("%s: %w", what, err)))
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

func readHead(t *tx) head {
	h := head{known: true}
	t.get(into(&h.id, &h.table, &h.session, &h.next), `SELECT
		coalesce((SELECT value FROM meta WHERE name = 'id'), ''),
		coalesce((SELECT value FROM meta WHERE name = 'table'), 0),
		coalesce((SELECT session FROM session ORDER BY after_seq DESC LIMIT 1), 0), 1 + `+newest)
	return h
}

// journalID is the random name of the journal; "" where it has none yet.
func journalID(t *tx) (id string) {
	t.get(into(&id), `SELECT value FROM meta WHERE name = 'id'`)
	return id
}

// newest is, in SQL, the newest sequence number; 0 when there is none.
const newest = `max((SELECT coalesce(max(seq), 0) FROM reading_0), (SELECT coalesce(max(seq), 0) FROM reading_1),
	(SELECT coalesce(max(seq), 0) FROM event), (SELECT coalesce(max(last), 0) FROM chunk))`

// view runs fn in one reading transaction, without waiting for a write under way:
// everything it reads is of one moment.
func (j *Journal) view(ctx context.Context, what string, fn func(*tx)) error {
	err := j.identity.Load().same()
	if j.closed.Load() {
		err = ErrClosed
	}
	if err == nil {
		err = transact(ctx, j.read.Load(), true, fn)
		j.noteDamage(err)
	}
	if err == nil {
		err = errors.Join(j.lockFree.check(), j.identity.Load().same())
	}
	if err != nil {
		return j.explain(what, err)
	}
	return nil
}

// viewed is what fn gives in a view; after an error it is nothing.
func viewed[T any](ctx context.Context, j *Journal, what string, fn func(*tx) T) (v T, err error) {
	if err = j.view(ctx, what, func(t *tx) { v = fn(t) }); err != nil {
		return *new(T), err
	}
	return v, nil
}

// viewAll is collect in a transaction of its own.
func viewAll[T any](ctx context.Context, j *Journal, what string, scan func(*T, *sql.Rows) error,
	query string, args ...any) ([]T, error) {
	return viewed(ctx, j, what, func(t *tx) []T { return collect(t, scan, query, args...) })
}

// instant is the time of milliseconds since 1970, in UTC.
func instant(ms int64) time.Time { return time.UnixMilli(ms).UTC() }
