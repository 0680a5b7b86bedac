package influxtest

import (
	"fmt"
	"net/http"
	"os/exec"
	"syscall"
	"testing"
	"time"

	"binwatchd/internal/proctest"
)

// A process is one database server that can be stopped and started again on
// the same port with the same data.
type process struct {
	t     testing.TB
	name  string // the command
	args  []string
	port  int
	ready string            // URL that answers 2xx once the server serves
	run   *proctest.Process // nil: stopped
}

// Start brings the server up, on its first port and data, and returns once it
// serves. Starting a running server fails the test.
func (p *process) Start() {
	p.t.Helper()
	if err := p.start(); err != nil {
		p.t.Fatalf("%s: %v", p.name, err)
	}
}

// Stop asks the server to end (SIGTERM) and waits until it has. Stopping a
// stopped server does nothing.
func (p *process) Stop() { p.t.Helper(); p.end(syscall.SIGTERM) }

// Kill ends the server at once (SIGKILL), as a power cut would, and waits
// until it is gone.
func (p *process) Kill() { p.t.Helper(); p.end(syscall.SIGKILL) }

func (p *process) start() error {
	if p.run != nil {
		return fmt.Errorf("is running already")
	}
	run, err := proctest.TryStart(p.t, exec.Command(p.name, p.args...))
	if err != nil {
		return err
	}
	client := http.Client{Timeout: 2 * time.Second}
	err = run.Ready(func() bool {
		resp, err := client.Get(p.ready)
		if err != nil {
			return false
		}
		resp.Body.Close()
		return resp.StatusCode/100 == 2
	})
	if err == nil {
		err = ownsPort(run.Cmd.Process.Pid, p.port)
	}
	if err != nil {
		run.End(syscall.SIGKILL)
		return err
	}
	p.run = run
	return nil
}

func (p *process) end(sig syscall.Signal) {
	p.t.Helper()
	if p.run != nil {
		p.run.End(sig)
		p.run = nil
	}
}

// launch starts what build describes on a free port; another process may take
// the port in between, so a few ports are tried.
func launch(t testing.TB, build func(dir string, port int) *process) *process {
	t.Helper()
	var name string
	var err error
	for range 5 {
		dir := t.TempDir()
		p := build(dir, proctest.FreePort(t))
		p.t, name = t, p.name
		if err = p.start(); err == nil {
			return p
		}
	}
	t.Fatalf("%s: %v", name, err)
	return nil
}
