package clock

import (
	"time"

	"golang.org/x/sys/unix"
)

// Kernel gives the clocks of this machine.
func Kernel() Sources {
	return Sources{Wall: time.Now, SinceBoot: sinceBoot, Synced: synced}
}

// sinceBoot counts sleep too: CLOCK_BOOTTIME, clock_gettime(2).
func sinceBoot() time.Duration {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		return time.Since(started) // a kernel without it: as long as we run
	}
	return time.Duration(ts.Nano())
}

var started = time.Now()

// synced asks the kernel whether somebody keeps the wall clock: adjtimex(2).
// Where it can't be asked the answer is no.
func synced() bool {
	var t unix.Timex
	state, err := unix.Adjtimex(&t)
	return err == nil && state != unix.TIME_ERROR && t.Status&unix.STA_UNSYNC == 0
}
