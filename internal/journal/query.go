package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// querier is a pool or a transaction: whatever can be asked.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// reader gives the pool for reading, without waiting for a write under way.
func (j *Journal) reader() (*sql.DB, error) {
	if j.closed.Load() {
		return nil, ErrClosed
	}
	return j.read.Load(), nil
}

// collect reads all rows of a query, which may itself have met an error.
func collect[T any](rows *sql.Rows, err error, scan func(*sql.Rows) (T, error)) ([]T, error) {
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []T
	for rows.Next() {
		v, err := scan(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, rows.Err()
}

// firstComplaint turns the answer of a check, the one row "ok" or a row for
// each fault, into an error.
func firstComplaint(rows *sql.Rows) error {
	said, err := collect(rows, nil, func(rows *sql.Rows) (s string, err error) {
		return s, rows.Scan(&s)
	})
	if err != nil {
		return classify(fmt.Errorf("check journal: %w", err))
	}
	if len(said) == 1 && said[0] == "ok" {
		return nil
	}
	if len(said) == 0 {
		return errors.New("check journal: no answer")
	}
	return fmt.Errorf("check journal: %w: %s", ErrDamaged, said[0])
}

// instant is the time of milliseconds since 1970, in UTC.
func instant(ms int64) time.Time { return time.UnixMilli(ms).UTC() }
