// Package brokertest runs a real mosquitto for tests, and stops it the kind
// and the unkind way. It is for tests only: a mosquitto that is not installed
// or does not start fails the test. It must not be imported by the program.
package brokertest

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"binwatchd/internal/proctest"
)

// Options say how a broker is set up.
type Options struct {
	Users     map[string]string // password of each user; empty: anybody may do anything
	ACL       string            // contents of an ACL file; "" for none
	Cert, Key string            // files of a server certificate; "" for plain TCP
	Extra     string            // further lines of mosquitto.conf
}

// A Broker is one mosquitto with its own port, configuration and store. The
// store outlives a stop, so sessions and retained messages do too, as far as
// mosquitto has saved them: at a Stop it has, at a Kill it has not.
type Broker struct {
	URL  string // tcp://127.0.0.1:port, or tls://localhost:port with a certificate
	Addr string // host:port

	t    testing.TB
	dir  string
	opts Options
	run  *proctest.Process
}

// StartMosquitto starts a broker on a free loopback port. It is stopped when
// the test ends.
func StartMosquitto(t testing.TB, o Options) *Broker {
	t.Helper()
	b := &Broker{t: t, dir: t.TempDir(), opts: o}
	var err error
	for range 5 { // somebody may take the port between finding and using it
		b.take(proctest.FreePort(t))
		if err = b.start(); err == nil {
			return b
		}
	}
	t.Fatalf("start mosquitto: %v", err)
	return nil
}

// Start starts a stopped or killed broker again, on the same port.
func (b *Broker) Start() {
	b.t.Helper()
	if err := b.start(); err != nil {
		b.t.Fatalf("start mosquitto again: %v", err)
	}
}

// Stop ends the broker as a service manager does: it saves its store first.
func (b *Broker) Stop() { b.halt(syscall.SIGTERM) }

// Kill ends the broker at once, like a power cut.
func (b *Broker) Kill() { b.halt(syscall.SIGKILL) }

// Forget takes the store from a broker that is stopped: it will know no session and no
// retained message.
func (b *Broker) Forget() {
	b.t.Helper()
	if err := os.Remove(filepath.Join(b.dir, "mosquitto.db")); err != nil && !os.IsNotExist(err) {
		b.t.Fatalf("forget: %v", err)
	}
}

// Save has the broker write its store now, as it else does each half hour and at
// a Stop, and returns when it has. The broker must let anybody in.
func (b *Broker) Save() {
	b.t.Helper()
	const saving = "Saving in-memory database"
	before := strings.Count(b.Log(), saving)
	if err := b.run.Cmd.Process.Signal(syscall.SIGUSR1); err != nil {
		b.t.Fatalf("have mosquitto save: %v", err)
	}
	proctest.Eventually(b.t, "mosquitto saves", func() bool { return strings.Count(b.Log(), saving) > before })
	Client(b.t, b.URL, "", "", "").Disconnect(0) // it answers one thing after another
}

// Log is what the broker has printed since its last start.
func (b *Broker) Log() string { return b.run.Log.String() }

func (b *Broker) halt(s syscall.Signal) {
	b.t.Helper()
	if b.run == nil {
		b.t.Fatal("mosquitto is not running")
	}
	b.run.End(s)
	b.run = nil
}

// take gives the broker a port and writes its configuration.
func (b *Broker) take(port int) {
	b.Addr = fmt.Sprintf("127.0.0.1:%d", port)
	b.URL = "tcp://" + b.Addr
	lines := []string{
		fmt.Sprintf("listener %d 127.0.0.1", port),
		"log_dest stderr", "log_type all",
		"persistence true", "persistence_location " + b.dir + "/",
		fmt.Sprintf("allow_anonymous %v", len(b.opts.Users) == 0),
	}
	if os.Geteuid() == 0 { // else it becomes a user who may not write here
		lines = append(lines, "user root")
	}
	if b.opts.Cert != "" {
		b.URL = fmt.Sprintf("tls://localhost:%d", port)
		lines = append(lines, "certfile "+b.opts.Cert, "keyfile "+b.opts.Key)
	}
	if len(b.opts.Users) > 0 {
		lines = append(lines, "password_file "+b.passwords())
	}
	if b.opts.ACL != "" {
		lines = append(lines, "acl_file "+b.write("acl", b.opts.ACL))
	}
	b.write("mosquitto.conf", strings.Join(append(lines, b.opts.Extra, ""), "\n"))
}

func (b *Broker) passwords() string {
	b.t.Helper()
	path := b.write("passwords", "")
	for user, password := range b.opts.Users {
		if out, err := exec.Command("mosquitto_passwd", "-b", path, user, password).CombinedOutput(); err != nil {
			b.t.Fatalf("mosquitto_passwd: %v: %s", err, out)
		}
	}
	return path
}

func (b *Broker) write(name, text string) string {
	b.t.Helper()
	path := filepath.Join(b.dir, name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		b.t.Fatal(err)
	}
	return path
}

// start runs mosquitto and waits until it says that it runs: a connection
// alone might reach somebody else on the same port.
func (b *Broker) start() error {
	bin, err := lookFor("mosquitto")
	if err != nil {
		return err
	}
	p, err := proctest.TryStart(b.t, exec.Command(bin, "-c", filepath.Join(b.dir, "mosquitto.conf")))
	if err != nil {
		return err
	}
	err = p.Ready(func() bool {
		if !strings.Contains(p.Log.String(), " running") {
			return false
		}
		c, err := net.Dial("tcp", b.Addr)
		if err == nil {
			c.Close()
		}
		return err == nil
	})
	if err != nil {
		p.End(syscall.SIGKILL)
		return fmt.Errorf("mosquitto is not ready: %w", err)
	}
	b.run = p
	return nil
}

// lookFor finds a program also where the PATH of a plain user does not lead.
func lookFor(name string) (string, error) {
	if path, err := exec.LookPath(name); err == nil {
		return path, nil
	}
	return exec.LookPath(filepath.Join("/usr/sbin", name))
}
