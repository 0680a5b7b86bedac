package systemd

import (
	"errors"
	"fmt"
	"net"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// sendTimeout bounds how long a full queue of the service manager may hold up
// its caller: a daemon that watches bins does not wait for being watched.
const sendTimeout = 2 * time.Second

// A Notifier speaks to the service manager that started this process. The zero
// value speaks to nobody. Its methods may be called from any goroutine.
type Notifier struct {
	socket   string        // as in $NOTIFY_SOCKET; "": nobody listens
	interval time.Duration // within which a sign of life is due; 0: none is
}

// FromEnvironment reads where to speak to and how often a sign of life is
// due, from $NOTIFY_SOCKET, $WATCHDOG_USEC and $WATCHDOG_PID; pid is this
// process. Variables that make no sense are an error, and the Notifier given
// with it does what can be done without them.
func FromEnvironment(getenv func(string) string, pid int) (Notifier, error) {
	n := Notifier{socket: getenv("NOTIFY_SOCKET")}
	text, of := getenv("WATCHDOG_USEC"), getenv("WATCHDOG_PID")
	switch {
	case n.socket == "":
		return n, nil
	case n.socket[0] != '/' && n.socket[0] != '@':
		return Notifier{}, fmt.Errorf("read NOTIFY_SOCKET: %q is neither a path nor an abstract socket", n.socket)
	case text == "", of != "" && of != strconv.Itoa(pid): // a child inherits the environment, not the duty (sd_watchdog_enabled(3))
		return n, nil
	}
	usec, err := strconv.ParseInt(text, 10, 64)
	if err != nil || usec <= 0 || usec > int64(maxInterval/time.Microsecond) {
		return n, fmt.Errorf("read WATCHDOG_USEC: %q is no number of microseconds", text)
	}
	n.interval = time.Duration(usec) * time.Microsecond
	return n, nil
}

// maxInterval is far over any watchdog and far under what a Duration can hold.
const maxInterval = 365 * 24 * time.Hour

// Ready says that the daemon has started, or has ended a reload, and what it
// is doing now.
func (n Notifier) Ready(doing string) error {
	return n.send("READY=1", status(doing))
}

// Reloading says that a reload has begun; [Notifier.Ready] must follow, also
// after one that failed. The time goes with it because systemd from 253 on
// tells by it which of two reloads is meant (Type=notify-reload).
func (n Notifier) Reloading() error {
	if n.socket == "" {
		return nil
	}
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts); err != nil {
		return fmt.Errorf("read the monotonic clock: %w", err)
	}
	return n.send("RELOADING=1", "MONOTONIC_USEC="+strconv.FormatInt(ts.Nano()/1000, 10))
}

// Stopping says that the end has begun, and takes time.
func (n Notifier) Stopping() error {
	return n.send("STOPPING=1", status("stopping: what waits is written"))
}

// Alive is one sign of life. Send it only after a check that means something;
// [Notifier.Feed] does.
func (n Notifier) Alive() error { return n.send("WATCHDOG=1") }

// status keeps a text to one line: a second one would be read as another
// assignment.
func status(doing string) string {
	return "STATUS=" + strings.Join(strings.FieldsFunc(doing, func(r rune) bool { return r < ' ' }), " ")
}

// send sends lines as one datagram. An abstract socket, written with @ in
// front, is dialled by net as such.
func (n Notifier) send(lines ...string) error {
	if n.socket == "" {
		return nil
	}
	conn, err := net.Dial("unixgram", n.socket)
	if err == nil {
		late := conn.SetWriteDeadline(time.Now().Add(sendTimeout))
		_, sent := conn.Write([]byte(strings.Join(lines, "\n")))
		err = errors.Join(late, sent, conn.Close())
	}
	if err != nil {
		return fmt.Errorf("tell the service manager: %w", err)
	}
	return nil
}
