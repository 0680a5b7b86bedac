package journal

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"
)

//go:embed migrations/*.sql
var migrationFiles embed.FS

// applicationID marks the file as ours in its header ("bwjn").
const applicationID = 0x62776a6e

// migrate brings the schema to the newest version, one transaction a step. The
// version stands in the header of the file (PRAGMA user_version).
func migrate(ctx context.Context, db *sql.DB) error {
	steps, err := migrations()
	if err != nil {
		return err
	}
	have, err := schemaVersion(ctx, db)
	if err != nil {
		return err
	}
	for v := have; v < len(steps); v++ {
		if err := migrateStep(ctx, db, v+1, steps[v]); err != nil {
			return err
		}
	}
	return nil
}

// migrations are the numbered steps in order: 0001_ makes version 1 of version 0.
func migrations() ([]string, error) {
	names, err := fs.Glob(migrationFiles, "migrations/*.sql")
	if err != nil {
		return nil, fmt.Errorf("list migrations: %w", err)
	}
	steps := make([]string, len(names))
	for i, name := range names {
		text, err := migrationFiles.ReadFile(name)
		if err != nil {
			return nil, fmt.Errorf("read migration: %w", err)
		}
		steps[i] = string(text)
	}
	return steps, nil
}

// schemaVersion reads the version and refuses one that this program is too old
// for, and a database of another program.
func schemaVersion(ctx context.Context, db *sql.DB) (int, error) {
	var version, app, tables int
	row := db.QueryRowContext(ctx, `SELECT (SELECT user_version FROM pragma_user_version),
		(SELECT application_id FROM pragma_application_id), (SELECT count(*) FROM sqlite_schema)`)
	if err := row.Scan(&version, &app, &tables); err != nil {
		return 0, classify(fmt.Errorf("read journal schema: %w", err))
	}
	if app != applicationID && tables > 0 {
		return 0, fmt.Errorf("open journal: the file is a database of another program; give journal.path a file of its own")
	}
	steps, err := migrations()
	if err != nil {
		return 0, err
	}
	if version > len(steps) {
		return 0, fmt.Errorf("open journal: %w: it has schema %d, this one knows %d; install the newer binwatchd, or restore a backup made before it ran",
			ErrNewer, version, len(steps))
	}
	return version, nil
}

func migrateStep(ctx context.Context, db *sql.DB, version int, text string) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return classify(fmt.Errorf("migrate journal to schema %d: %w", version, err))
	}
	defer tx.Rollback() // after a commit it does nothing
	script := fmt.Sprintf("%s;\nPRAGMA application_id = %d;\nPRAGMA user_version = %d;", text, applicationID, version)
	if _, err := tx.ExecContext(ctx, script); err != nil {
		return classify(fmt.Errorf("migrate journal to schema %d: %w", version, err))
	}
	if err := tx.Commit(); err != nil {
		return classify(fmt.Errorf("migrate journal to schema %d: %w", version, err))
	}
	return nil
}
