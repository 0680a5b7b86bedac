package influxtest

import (
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// patience is how long a server may take to come up or to go down. It only
// bounds a test that would otherwise hang.
const patience = 60 * time.Second

// A process is one database server that can be stopped and started again on
// the same port with the same data.
type process struct {
	t     testing.TB
	name  string // the command
	args  []string
	port  int
	ready string // URL that answers 2xx once the server serves
	log   string // file that collects what the server says
	cmd   *exec.Cmd
	ended chan struct{} // closed once cmd has been waited for
}

// Start brings the server up, on its first port and data, and returns once it
// serves. Starting a running server fails the test.
func (p *process) Start() {
	p.t.Helper()
	if err := p.start(); err != nil {
		p.t.Fatalf("%s: %v\n%s", p.name, err, p.said())
	}
}

// Stop asks the server to end (SIGTERM) and waits until it has. Stopping a
// stopped server does nothing.
func (p *process) Stop() { p.t.Helper(); p.end(syscall.SIGTERM) }

// Kill ends the server at once (SIGKILL), as a power cut would, and waits
// until it is gone.
func (p *process) Kill() { p.t.Helper(); p.end(syscall.SIGKILL) }

func (p *process) start() error {
	if p.cmd != nil {
		return fmt.Errorf("is running already")
	}
	out, err := os.OpenFile(p.log, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer out.Close()
	cmd := exec.Command(p.name, p.args...)
	cmd.Stdout, cmd.Stderr = out, out
	// A test binary that dies must not leave servers behind.
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := cmd.Start(); err != nil {
		return err
	}
	p.cmd, p.ended = cmd, make(chan struct{})
	go func(ended chan struct{}) { cmd.Wait(); close(ended) }(p.ended)
	if err := p.awaitReady(); err != nil {
		p.end(syscall.SIGKILL)
		return err
	}
	return nil
}

// awaitReady polls until the server answers and the port is proved its own.
func (p *process) awaitReady() error {
	client := http.Client{Timeout: 2 * time.Second}
	deadline, tick := time.After(patience), time.NewTicker(20*time.Millisecond)
	defer tick.Stop()
	for {
		if resp, err := client.Get(p.ready); err == nil {
			resp.Body.Close()
			if resp.StatusCode/100 == 2 {
				return ownsPort(p.cmd.Process.Pid, p.port)
			}
		}
		select {
		case <-p.ended:
			return fmt.Errorf("ended by itself while starting")
		case <-deadline:
			return fmt.Errorf("does not serve %s after %v", p.ready, patience)
		case <-tick.C:
		}
	}
}

func (p *process) end(sig syscall.Signal) {
	if p.cmd == nil {
		return
	}
	// The process may have ended by itself: then there is nothing to signal.
	_ = p.cmd.Process.Signal(sig)
	select {
	case <-p.ended:
	case <-time.After(patience):
		_ = p.cmd.Process.Kill()
		<-p.ended
		p.t.Errorf("%s: did not end on %v within %v", p.name, sig, patience)
	}
	p.cmd = nil
}

// said gives the end of the server's log, for a failing test.
func (p *process) said() string {
	b, err := os.ReadFile(p.log)
	if err != nil {
		return "(no log: " + err.Error() + ")"
	}
	return string(b[max(0, len(b)-4000):])
}

// launch starts what build describes on a free port; another process may take
// the port in between, so a few ports are tried.
func launch(t testing.TB, build func(dir string, port int) *process) *process {
	t.Helper()
	var last *process
	var err error
	for range 5 {
		dir := t.TempDir()
		p := build(dir, freePort(t))
		p.t, p.log = t, filepath.Join(dir, "said.log")
		if err = p.start(); err == nil {
			t.Cleanup(p.Kill)
			return p
		}
		last = p
	}
	t.Fatalf("%s: %v\n%s", last.name, err, last.said())
	return nil
}

func freePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}
