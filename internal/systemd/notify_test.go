package systemd_test

import (
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/sys/unix"

	"binwatchd/internal/systemd"
)

// The messages and variables are those of sd_notify(3) and
// sd_watchdog_enabled(3), systemd 252.

func TestMessages(t *testing.T) {
	tests := []struct {
		name string
		say  func(systemd.Notifier) error
		want string
	}{
		{"ready", func(n systemd.Notifier) error { return n.Ready("watching 4 bins") }, "READY=1\nSTATUS=watching 4 bins"},
		{"stopping", systemd.Notifier.Stopping, "STOPPING=1\nSTATUS=stopping: what waits is written"},
		{"a status of two lines stays one", func(n systemd.Notifier) error { return n.Ready("a\r\nSTOPPING=1\n") }, "READY=1\nSTATUS=a STOPPING=1"},
		{"alive", systemd.Notifier.Alive, "WATCHDOG=1"},
	}
	for _, socket := range sockets(t) {
		manager := listen(t, socket)
		n := notifier(t, map[string]string{"NOTIFY_SOCKET": socket})
		for _, tt := range tests {
			t.Run(kind(socket)+" "+tt.name, func(t *testing.T) {
				if err := tt.say(n); err != nil {
					t.Fatal(err)
				}
				if diff := cmp.Diff(tt.want, manager.next(t)); diff != "" {
					t.Error(diff)
				}
			})
		}
	}
}

// systemd drops a RELOADING=1 without the time at which it was sent
// (systemd.service(5), Type=notify-reload); the time is the clock's own.
func TestReloadingCarriesTheMonotonicTime(t *testing.T) {
	socket := filepath.Join(t.TempDir(), "notify")
	manager := listen(t, socket)
	before := monotonicUsec(t)
	if err := notifier(t, map[string]string{"NOTIFY_SOCKET": socket}).Reloading(); err != nil {
		t.Fatal(err)
	}
	after := monotonicUsec(t)
	first, second, _ := strings.Cut(manager.next(t), "\n")
	if first != "RELOADING=1" {
		t.Errorf("first line: got %q, want RELOADING=1", first)
	}
	at, err := strconv.ParseInt(strings.TrimPrefix(second, "MONOTONIC_USEC="), 10, 64)
	if err != nil || at < before || at > after {
		t.Errorf("got %q (%v), want MONOTONIC_USEC from %d to %d", second, err, before, after)
	}
}

func TestWithoutAManagerEverythingSucceeds(t *testing.T) {
	for name, n := range map[string]systemd.Notifier{"zero value": {}, "empty environment": notifier(t, nil)} {
		err := errors.Join(n.Ready("x"), n.Reloading(), n.Alive(), n.Stopping())
		if err != nil || n.Listened() || n.Interval() != 0 {
			t.Errorf("%s: got %v, listened %t, interval %s", name, err, n.Listened(), n.Interval())
		}
	}
}

func TestAManagerThatIsGoneIsAnError(t *testing.T) {
	n := notifier(t, map[string]string{"NOTIFY_SOCKET": filepath.Join(t.TempDir(), "gone")})
	if err := n.Ready("x"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got %v, want %v", err, os.ErrNotExist)
	}
}

func TestEnvironment(t *testing.T) {
	const pid = 4711
	tests := []struct {
		name     string
		env      map[string]string
		interval time.Duration
		listened bool
		problem  string
	}{
		{"nothing", nil, 0, false, ""},
		{"a watchdog with nobody to tell", map[string]string{"WATCHDOG_USEC": "1000"}, 0, false, ""},
		{"no watchdog", map[string]string{"NOTIFY_SOCKET": "/run/x"}, 0, true, ""},
		{"three minutes", map[string]string{"NOTIFY_SOCKET": "/run/x", "WATCHDOG_USEC": "180000000"}, 3 * time.Minute, true, ""},
		{"for this process", map[string]string{"NOTIFY_SOCKET": "@x", "WATCHDOG_USEC": "2000", "WATCHDOG_PID": "4711"}, 2 * time.Millisecond, true, ""},
		{"for another process", map[string]string{"NOTIFY_SOCKET": "@x", "WATCHDOG_USEC": "2000", "WATCHDOG_PID": "1"}, 0, true, ""},
		{"no number", map[string]string{"NOTIFY_SOCKET": "@x", "WATCHDOG_USEC": "soon"}, 0, true, "WATCHDOG_USEC"},
		{"not positive", map[string]string{"NOTIFY_SOCKET": "@x", "WATCHDOG_USEC": "0"}, 0, true, "WATCHDOG_USEC"},
		{"beyond what a duration holds", map[string]string{"NOTIFY_SOCKET": "@x", "WATCHDOG_USEC": "9223372036854775807"}, 0, true, "WATCHDOG_USEC"},
		{"no unix socket", map[string]string{"NOTIFY_SOCKET": "vsock:2:9000"}, 0, false, "NOTIFY_SOCKET"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			n, err := systemd.FromEnvironment(func(k string) string { return tt.env[k] }, pid)
			if n.Interval() != tt.interval || n.Listened() != tt.listened {
				t.Errorf("got interval %s, listened %t", n.Interval(), n.Listened())
			}
			if got := fmt.Sprint(err); (err != nil) != (tt.problem != "") || !strings.Contains(got, tt.problem) {
				t.Errorf("got error %v, want one about %q", err, tt.problem)
			}
		})
	}
}

// sockets names one socket in a folder and one without any (abstract).
func sockets(t *testing.T) []string {
	dir := t.TempDir()
	return []string{filepath.Join(dir, "notify"), "@binwatchd-test-" + filepath.Base(filepath.Dir(dir)) + strconv.Itoa(os.Getpid())}
}

func kind(socket string) string {
	if socket[0] == '@' {
		return "abstract"
	}
	return "path"
}

func notifier(t *testing.T, env map[string]string) systemd.Notifier {
	t.Helper()
	n, err := systemd.FromEnvironment(func(k string) string { return env[k] }, os.Getpid())
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// A manager is the listening end, as the service manager has it.
type manager struct{ conn *net.UnixConn }

func listen(t *testing.T, socket string) manager {
	t.Helper()
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: socket, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return manager{conn}
}

// next is the next message; that none comes within seconds is a failure.
func (m manager) next(t *testing.T) string {
	t.Helper()
	if err := m.conn.SetReadDeadline(time.Now().Add(10 * time.Second)); err != nil {
		t.Fatal(err)
	}
	b := make([]byte, 4096)
	n, err := m.conn.Read(b)
	if err != nil {
		t.Fatalf("no message: %v", err)
	}
	return string(b[:n])
}

func monotonicUsec(t *testing.T) int64 {
	t.Helper()
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts); err != nil {
		t.Fatal(err)
	}
	return ts.Nano() / 1000
}
