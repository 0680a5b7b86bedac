package main

import (
	"fmt"
	"io"
	"mime"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/proctest"
)

// What a keeper does from the package to a limit that suits the bed is one
// script. What it installs goes into a root directory of its own, which is
// thrown away, and it is the installed program that runs.
func TestFromPackageToTuning(t *testing.T) {
	n := &newcomer{t: t, box: startMailbox(t)}
	testscript.Run(t, testscript.Params{
		Files: []string{filepath.Join("testdata", "newcomer", "package_to_tuning.txtar")},
		Setup: n.setUp,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"daemon": n.daemonCommand, "log": n.logCommand, "mail": n.mailCommand, "ramp": ramp, "until": until,
		},
	})
}

// A newcomer has a machine with a broker, a mailbox and nothing else yet.
type newcomer struct {
	t      *testing.T
	box    *mailbox
	daemon *proctest.Process
}

// setUp tells the script where everything is. The program found by name is the
// one that is going to be installed, and Go finds its caches.
func (n *newcomer) setUp(e *testscript.Env) error {
	broker := brokertest.StartMosquitto(n.t, brokertest.Options{})
	repo, err := filepath.Abs("../..")
	if err != nil {
		return err
	}
	root := filepath.Join(e.WorkDir, "root")
	for name, value := range map[string]string{
		"TZ": "UTC", "REPO": repo, "ARCH": debianArch(), "ROOT": root, "ETC": root + "/etc/binwatchd",
		"BROKER": broker.URL, "PORT": broker.URL[strings.LastIndex(broker.URL, ":")+1:], "PAGE": proctest.FreeAddr(n.t),
		"MAILBOX": n.box.addr, "MAIL_CA": n.box.ca, "MAIL_USER": mailUser, "MAIL_PASSWORD": mailPassword,
		"HOME": os.Getenv("HOME"), "PATH": root + "/usr/bin:" + os.Getenv("PATH") + ":/usr/sbin:/sbin",
	} {
		e.Setenv(name, value)
	}
	for _, name := range []string{"GOCACHE", "GOMODCACHE", "GOPATH", "GOPROXY", "GOFLAGS", "GOSUMDB", "GOTOOLCHAIN"} {
		if value, set := os.LookupEnv(name); set {
			e.Setenv(name, value)
		}
	}
	e.Setenv("AS_ROOT", "env")
	if os.Geteuid() != 0 && os.Getenv("FAKEROOTKEY") == "" {
		e.Setenv("AS_ROOT", "fakeroot") // dpkg wants to own files
	}
	return dress(filepath.Join(e.WorkDir, "mail.yaml"), e)
}

// debianArch is what Debian calls the architecture of the machine at hand.
func debianArch() string {
	if runtime.GOARCH == "arm" {
		return "armhf"
	}
	return runtime.GOARCH
}

// daemonCommand stands in for the service manager, with the installed program.
func (n *newcomer) daemonCommand(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: daemon start|reload|stop")
	}
	switch args[0] {
	case "start":
		n.daemon = proctest.Start(n.t, exec.Command(ts.Getenv("ROOT")+"/usr/bin/binwatchd", "run", "--config", ts.Getenv("ETC")+"/binwatchd.yaml"))
	case "reload":
		ts.Check(n.daemon.Cmd.Process.Signal(syscall.SIGHUP))
	case "stop":
		n.daemon.Stop()
	default:
		ts.Fatalf("there is no daemon %s", args[0])
	}
}

// logCommand waits until the daemon's log holds a text, or wants it without it.
func (n *newcomer) logCommand(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 1 {
		ts.Fatalf("usage: [!] log PATTERN")
	}
	want := regexp.MustCompile(args[0])
	if neg {
		if found := want.FindString(n.daemon.Log.String()); found != "" {
			ts.Fatalf("the log has %q", found)
		}
		return
	}
	await(ts, func() (string, bool) {
		log := n.daemon.Log.String()
		return log, want.MatchString(log)
	})
}

// mailCommand waits until the mails that have come hold a text and prints them,
// or wants them without it.
func (n *newcomer) mailCommand(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 1 {
		ts.Fatalf("usage: [!] mail PATTERN")
	}
	want := regexp.MustCompile(args[0])
	if neg {
		if found := want.FindString(n.mails()); found != "" {
			ts.Fatalf("a mail has %q", found)
		}
		return
	}
	await(ts, func() (string, bool) {
		all := n.mails()
		return all, want.MatchString(all)
	})
	io.WriteString(ts.Stdout(), n.mails())
}

// mails gives the mails that have come as a keeper reads them, without their
// pictures. The text is read where it stands, folded as it was sent.
func (n *newcomer) mails() string {
	var all strings.Builder
	for _, m := range n.box.all() {
		subject, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
		if err != nil {
			n.t.Errorf("subject of a mail: %v", err)
		}
		_, text, _ := strings.Cut(bodyOf(m), "Content-Type: text/plain; charset=UTF-8")
		text, _, _ = strings.Cut(text, "\n--") // the end of the part (RFC 2046 §5.1.1) or of the keeper's text
		fmt.Fprintf(&all, "To: %s\nSubject: %s\n\n%s\n\n", m.Header.Get("To"), subject, strings.TrimSpace(text))
	}
	return all.String()
}

// await looks until something holds, and shows what there was if it never does.
func await(ts *testscript.TestScript, look func() (seen string, holds bool)) {
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for deadline := time.Now().Add(60 * time.Second); ; <-tick.C {
		seen, holds := look()
		if holds {
			return
		}
		if time.Now().After(deadline) {
			ts.Fatalf("it never came; there was:\n%s", seen)
		}
	}
}

// ramp prints what a device would have sent: a stamped reading every ten
// minutes from some hours ago until fewer hours ago, with the temperature on a
// straight line and the moisture where worms like it.
func ramp(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 4 {
		ts.Fatalf("usage: ramp HOURS_AGO HOURS_AGO CELSIUS CELSIUS")
	}
	var n [4]float64
	for i, a := range args {
		var err error
		n[i], err = strconv.ParseFloat(a, 64)
		ts.Check(err)
	}
	now := time.Now().UTC().Truncate(10 * time.Minute)
	steps := int(6*(n[0]-n[1]) + 0.5)
	for i := range steps {
		part := float64(i) / float64(steps)
		at := now.Add(-time.Duration(n[0]*float64(time.Hour)) + time.Duration(i)*10*time.Minute)
		fmt.Fprintf(ts.Stdout(), "{\"t\": %.2f, \"m\": %.1f, \"at\": %q}\n", n[2]+part*(n[3]-n[2]), 76+0.1*float64(i%5), at.Format(time.RFC3339))
	}
}
