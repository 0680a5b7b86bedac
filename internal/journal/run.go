package journal

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// ReadBoot reads this machine's boot record from the kernel, with now as the
// wall clock. Time since boot counts sleep (CLOCK_BOOTTIME, clock_gettime(2)).
func ReadBoot(now time.Time) (Boot, error) {
	id, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return Boot{}, fmt.Errorf("read boot id: %w", err)
	}
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		return Boot{}, fmt.Errorf("read time since boot: %w", err)
	}
	since := time.Duration(ts.Nano())
	return Boot{ID: strings.TrimSpace(string(id)), Offset: time.Duration(now.UnixNano()) - since}, nil
}

// Runs gives every run on this journal, oldest first, this one included.
func (j *Journal) Runs(ctx context.Context) ([]Run, error) {
	var runs []Run
	err := j.view(ctx, "read runs", func(t *sql.Tx) error {
		rows, err := t.QueryContext(ctx, `SELECT id, boot, offset_ms, began, after_seq, clean FROM run ORDER BY id`)
		runs, err = collect(rows, err, scanRun)
		return err
	})
	return runs, err
}

func scanRun(rows *sql.Rows) (Run, error) {
	var r Run
	var offset, began int64
	err := rows.Scan(&r.ID, &r.Boot.ID, &offset, &began, &r.After, &r.Clean)
	r.Boot.Offset = time.Duration(offset) * time.Millisecond
	r.Began = instant(began)
	return r, err
}
