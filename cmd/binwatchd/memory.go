package main

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"runtime/debug"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// giveBackEvery is how often memory is given back: as often as Go collects an
// idle heap of its own accord.
const giveBackEvery = 2 * time.Minute

// giveBack returns the memory that starting up and drawing pages took to the
// machine. Go by itself keeps it for as much again as is in use, which is much
// for a board with half a gigabyte. It lets go of the program's own file, too, of which
// most was wanted to start; but not while the journal can't be written: what
// is needed to tell of that should not have to come from a disk in trouble.
func (d *daemon) giveBack(context.Context) {
	debug.FreeOSMemory()
	v, ok := d.often.glance()
	if !ok || v.Intake.Unwritten != nil {
		return
	}
	if err := letGoOfFile(); err != nil {
		d.log.Debug("the program's own file is kept in memory", "error", err)
	}
}

// collectOften has garbage collected when half as much again is in use, not twice as much:
// a daemon that mostly waits has time for it, and a board has little room for what many
// readers leave behind. Not before it has started, which would take longer; and the
// keeper's own GOGC is left alone.
func collectOften() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(50)
	}
}

// letGoOfFile takes the pages of the program's own file that are never written out of what
// this process holds (madvise(2), MADV_DONTNEED; proc(5), maps). The kernel keeps them
// as it keeps any file while it has room for that, and gives back those that are used.
func letGoOfFile() error {
	own, err := os.Readlink("/proc/self/exe")
	if err != nil {
		return err
	}
	maps, err := os.Open("/proc/self/maps")
	if err != nil {
		return err
	}
	defer maps.Close()
	lines := bufio.NewScanner(maps)
	for lines.Scan() {
		var from, to uintptr
		var may string
		if _, err := fmt.Sscanf(lines.Text(), "%x-%x %s", &from, &to, &may); err != nil {
			return fmt.Errorf("read /proc/self/maps: %w", err)
		}
		if !strings.HasSuffix(lines.Text(), " "+own) || strings.Contains(may, "w") {
			continue
		}
		if _, _, errno := unix.Syscall(unix.SYS_MADVISE, from, to-from, unix.MADV_DONTNEED); errno != 0 {
			return fmt.Errorf("let go of %s: %w", may, errno)
		}
	}
	return lines.Err()
}
