// Package proctest helps tests that run programs: it starts a child process that
// ends with the test, waits for what it says, polls for a condition with a bound,
// and finds free ports. It is for tests only: the program must not import it.
package proctest

import (
	"bytes"
	"fmt"
	"net"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// Patience bounds every wait. A test that runs into it has failed; it is long,
// for a busy machine is no failure.
const Patience = 5 * time.Minute

// Eventually waits until a condition holds, and fails the test if it never does.
func Eventually(t testing.TB, what string, holds func() bool) {
	t.Helper()
	if err := until(holds, nil); err != nil {
		t.Fatalf("%s: %v", what, err)
	}
}

// until polls a condition; it gives up when the process is gone or patience ends.
func until(holds func() bool, gone <-chan struct{}) error {
	tick, late := time.NewTicker(5*time.Millisecond), time.NewTimer(Patience)
	defer tick.Stop()
	defer late.Stop()
	for !holds() {
		select {
		case <-tick.C:
		case <-gone:
			return fmt.Errorf("the process has ended")
		case <-late.C:
			return fmt.Errorf("not after %s", Patience)
		}
	}
	return nil
}

// FreePort gives a TCP port of the loopback that nobody listens at. Another process
// may take it before it is used.
func FreePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// FreeAddr gives host and port of [FreePort].
func FreeAddr(t testing.TB) string {
	t.Helper()
	return fmt.Sprintf("127.0.0.1:%d", FreePort(t))
}

// A Process is a program in a process of its own.
type Process struct {
	Cmd  *exec.Cmd
	Log  *Log          // what it prints: its complaints, and its answers unless they go elsewhere
	Gone chan struct{} // closed when it has ended

	t testing.TB
}

// Start starts a process that ends with the test at the latest.
func Start(t testing.TB, cmd *exec.Cmd) *Process {
	t.Helper()
	p, err := TryStart(t, cmd)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TryStart is Start for those who try another way where it fails.
func TryStart(t testing.TB, cmd *exec.Cmd) (*Process, error) {
	p := &Process{Cmd: cmd, Log: &Log{}, Gone: make(chan struct{}), t: t}
	cmd.Stderr = p.Log
	if cmd.Stdout == nil {
		cmd.Stdout = p.Log
	}
	if cmd.SysProcAttr == nil {
		cmd.SysProcAttr = &syscall.SysProcAttr{}
	}
	// A test binary that dies leaves nothing behind.
	cmd.SysProcAttr.Pdeathsig = syscall.SIGKILL
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	go func() {
		_ = cmd.Wait() // how it ended is asked of the process state
		close(p.Gone)
	}()
	t.Cleanup(func() { p.End(syscall.SIGKILL) })
	return p, nil
}

// End sends a signal and waits until the process is gone.
func (p *Process) End(s os.Signal) {
	p.t.Helper()
	_ = p.Cmd.Process.Signal(s) // it may be gone already
	select {
	case <-p.Gone:
	case <-time.After(Patience):
		p.t.Errorf("%s did not end: %s", p.Cmd.Path, p.Log)
		_ = p.Cmd.Process.Kill()
		<-p.Gone
	}
}

// Stop ends the process as a service manager does, and wants a clean end.
func (p *Process) Stop() {
	p.t.Helper()
	p.End(syscall.SIGTERM)
	if code := p.Cmd.ProcessState.ExitCode(); code != 0 {
		p.t.Errorf("%s ended with %d: %s", p.Cmd.Path, code, p.Log)
	}
}

// Says waits until the log holds a text.
func (p *Process) Says(text string) {
	p.t.Helper()
	if err := p.Ready(func() bool { return strings.Contains(p.Log.String(), text) }); err != nil {
		p.t.Fatalf("wait for %q: %v", text, err)
	}
}

// Ready waits until a condition holds. It is an error, which has what the process
// said, if that never happens or the process ends before.
func (p *Process) Ready(holds func() bool) error {
	if err := until(holds, p.Gone); err != nil {
		return fmt.Errorf("%w: %s", err, p.Log)
	}
	return nil
}

// A Log holds what a process prints. It is written by the process and read by the
// test.
type Log struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *Log) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *Log) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}
