package main

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/farm"
)

// A child is the program in a process of its own.
type child struct {
	t    *testing.T
	cmd  *exec.Cmd
	log  *tail
	gone chan struct{}
}

// start runs the program with arguments.
func startChild(t *testing.T, env []string, args ...string) *child {
	t.Helper()
	cmd := exec.Command(os.Args[0], args...)
	cmd.Env = append(append(os.Environ(), childMark+"=1"), env...)
	return begin(t, cmd)
}

// begin starts a process that ends with the test. The log has what it says, and
// its answers too, where they go nowhere else.
func begin(t *testing.T, cmd *exec.Cmd) *child {
	t.Helper()
	c := &child{t: t, cmd: cmd, log: &tail{}, gone: make(chan struct{})}
	cmd.Stderr = c.log
	if cmd.Stdout == nil {
		cmd.Stdout = c.log
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		_ = cmd.Wait() // how it ended is asked of the process state
		close(c.gone)
	}()
	t.Cleanup(func() { c.end(syscall.SIGKILL) })
	return c
}

// end sends a signal and waits until the process is gone.
func (c *child) end(s syscall.Signal) {
	c.t.Helper()
	_ = c.cmd.Process.Signal(s) // it may be gone already
	select {
	case <-c.gone:
	case <-time.After(2 * time.Minute): // it has a time limit of its own
		c.t.Errorf("the daemon did not end: %s", c.log)
		_ = c.cmd.Process.Kill()
		<-c.gone
	}
}

// stop ends the daemon as a service manager does, and wants a clean end.
func (c *child) stop() {
	c.t.Helper()
	c.end(syscall.SIGTERM)
	if code := c.cmd.ProcessState.ExitCode(); code != 0 {
		c.t.Errorf("the daemon ended with %d: %s", code, c.log)
	}
}

// says waits until the log holds a text.
func (c *child) says(text string) {
	c.t.Helper()
	brokertest.Eventually(c.t, "the daemon says "+text, func() bool {
		select {
		case <-c.gone:
			c.t.Fatalf("the daemon has ended: %s", c.log)
		default:
		}
		return strings.Contains(c.log.String(), text)
	})
}

// A tail holds the last of what a process printed.
type tail struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *tail) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *tail) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// run runs a command to its end and gives what it printed.
func runChild(t *testing.T, args ...string) (out string, code int) {
	t.Helper()
	cmd := exec.Command(os.Args[0], args...)
	cmd.Env = append(os.Environ(), childMark+"=1")
	var talk bytes.Buffer
	cmd.Stderr = &talk
	answer, err := cmd.Output()
	if err != nil && cmd.ProcessState == nil {
		t.Fatal(err)
	}
	if code = cmd.ProcessState.ExitCode(); code != 0 {
		t.Logf("binwatchd %s: exit %d: %s", strings.Join(args, " "), code, talk.String())
	}
	return string(answer), code
}

// now asks how the farm stands.
func nowView(t *testing.T, cfg string) farm.View {
	t.Helper()
	out, code := runChild(t, "now", "--config", cfg, "--json")
	if code != 0 {
		t.Fatalf("binwatchd now: exit %d", code)
	}
	var v farm.View
	if err := json.Unmarshal([]byte(out), &v); err != nil {
		t.Fatalf("binwatchd now --json: %v", err)
	}
	return v
}

// write puts a file into a directory of its own and gives its path.
func write(t *testing.T, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
