package main_test

import (
	"bufio"
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
)

// program builds the daemon as it is shipped, once for all benchmarks.
var program = sync.OnceValues(func() (string, error) {
	path, err := filepath.Abs("../../out/binwatchd-bench")
	if err != nil {
		return "", err
	}
	build := exec.Command("go", "build", "-trimpath", "-ldflags", "-s -w", "-o", path, "binwatchd/cmd/binwatchd")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		return "", fmt.Errorf("build binwatchd: %w: %s", err, out)
	}
	return path, nil
})

// A child is the daemon in a process of its own.
type child struct {
	b     *testing.B
	cmd   *exec.Cmd
	began time.Time
	lines chan line
	gone  chan struct{}
	log   bytes.Buffer // complete once gone
}

// A line of its log, and when it came.
type line struct {
	text string
	at   time.Time
}

func startChild(b *testing.B, cfg string) *child {
	path, err := program()
	if err != nil {
		b.Fatal(err)
	}
	c := &child{b: b, cmd: exec.Command(path, "run", "--config", cfg), lines: make(chan line, 10_000), gone: make(chan struct{})}
	out, err := c.cmd.StderrPipe()
	if err != nil {
		b.Fatal(err)
	}
	c.began = time.Now()
	if err := c.cmd.Start(); err != nil {
		b.Fatal(err)
	}
	go func() {
		defer close(c.gone)
		for in := bufio.NewScanner(out); in.Scan(); {
			c.log.WriteString(in.Text() + "\n")
			c.lines <- line{in.Text(), time.Now()}
		}
		_ = c.cmd.Wait() // how it ended is asked of the process state
	}()
	b.Cleanup(func() { c.end(syscall.SIGKILL) })
	return c
}

// says waits for the next line with a text in it, and gives when it came.
func (c *child) says(text string) time.Time {
	late := time.After(time.Minute)
	for {
		select {
		case l := <-c.lines:
			if strings.Contains(l.text, text) {
				return l.at
			}
		case <-c.gone:
			c.b.Fatalf("the daemon has ended: %s", &c.log)
		case <-late:
			c.b.Fatalf("the daemon does not say %q", text)
		}
	}
}

func (c *child) end(s syscall.Signal) {
	_ = c.cmd.Process.Signal(s) // it may be gone already
	<-c.gone
}

// stop ends it as a service manager does.
func (c *child) stop() {
	c.end(syscall.SIGTERM)
	if code := c.cmd.ProcessState.ExitCode(); code != 0 {
		c.b.Fatalf("the daemon ended with %d: %s", code, &c.log)
	}
}

// memory gives a line of /proc/pid/status, MB: VmRSS, RssFile for the part of it
// that is pages of files, or VmHWM for the most it ever was (proc(5)).
func (c *child) memory(what string) float64 {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", c.cmd.Process.Pid))
	if err != nil {
		c.b.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(text), what+":")
	var kB float64
	if _, err := fmt.Sscan(rest, &kB); err != nil {
		c.b.Fatalf("no %s in /proc/pid/status: %v", what, err)
	}
	return kB * 1024 / 1e6
}

func write(b *testing.B, name, text string) string {
	path := filepath.Join(b.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		b.Fatal(err)
	}
	return path
}

// publish sends one message and returns when the broker has it.
func publish(b *testing.B, broker *brokertest.Broker, topic, payload string) {
	broker.Publish(topic, 1, false, payload)
}
