package notify_test

import (
	"bytes"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"binwatchd/internal/notify"
	"binwatchd/internal/proctest"
)

// A postman is Debian's OpenSMTPD that puts what it accepts into a Maildir.
type postman struct {
	addr string
	dir  string // of the Maildir's new mails
}

func startPostman(t *testing.T) postman {
	t.Helper()
	dir, err := os.MkdirTemp("", "postman")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil { // the user who delivers has to get in
		t.Fatal(err)
	}
	box := filepath.Join(dir, "box")
	nobodys(t, box)
	port := proctest.FreePort(t)
	conf := fmt.Sprintf("listen on 127.0.0.1 port %d\n"+
		"action \"keep\" maildir \"%s/Maildir\" virtual { \"keeper@example.org\" = nobody }\n"+
		"match from any for domain \"example.org\" action \"keep\"\n", port, box)
	file := filepath.Join(dir, "smtpd.conf")
	if err := os.WriteFile(file, []byte(conf), 0o644); err != nil {
		t.Fatal(err)
	}
	p := postman{addr: net.JoinHostPort("127.0.0.1", strconv.Itoa(port)), dir: filepath.Join(box, "Maildir", "new")}
	p.run(t, file)
	return p
}

// nobodys makes a directory that belongs to the user nobody.
func nobodys(t *testing.T, dir string) {
	t.Helper()
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	nobody, err := user.Lookup("nobody")
	if err != nil {
		t.Fatal(err)
	}
	uid, err := strconv.Atoi(nobody.Uid)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chown(dir, uid, -1); err != nil {
		t.Fatal(err)
	}
}

// run starts the server and waits for its greeting.
func (p postman) run(t *testing.T, conf string) {
	t.Helper()
	log := &shared{}
	cmd := exec.Command("/usr/sbin/smtpd", "-d", "-f", conf)
	cmd.Stdout, cmd.Stderr = log, log
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	gone := make(chan struct{})
	go func() { _ = cmd.Wait(); close(gone) }()
	t.Cleanup(func() {
		_ = syscall.Kill(-cmd.Process.Pid, syscall.SIGTERM)
		<-gone
	})
	proctest.Eventually(t, "OpenSMTPD's greeting", func() bool {
		select {
		case <-gone:
			t.Fatalf("OpenSMTPD ended: %s", log)
		default:
		}
		conn, err := net.DialTimeout("tcp", p.addr, time.Second)
		if err != nil {
			return false
		}
		defer conn.Close()
		_ = conn.SetReadDeadline(time.Now().Add(time.Second))
		greeting := make([]byte, 200)
		n, _ := conn.Read(greeting)
		return strings.Contains(string(greeting[:n]), "OpenSMTPD")
	})
}

// shared is a buffer for two writers.
type shared struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *shared) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *shared) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// delivered gives the mails in the Maildir, oldest first.
func (p postman) delivered(t *testing.T) [][]byte {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(p.dir, "*"))
	if err != nil {
		t.Fatal(err)
	}
	var out [][]byte
	for _, name := range names {
		raw, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, raw)
	}
	return out
}

// Through a mail server that somebody else wrote, into a Maildir, and back:
// header, text, HTML and picture come out as they went in.
func TestThroughAMailServerIntoAMaildir(t *testing.T) {
	p := startPostman(t)
	cfg, b := keeperOnly(t), newBox()
	cfg.Mail.Server, cfg.Farm.Name = p.addr, "Hillfoot Nürsery"
	cfg.Now = func() time.Time { return start }
	running(t, cfg, notify.Sources{Outbox: b, History: hillfootPast(), Look: look(hillfootView())})
	b.add(owedOf(cfg, heating())...)
	proctest.Eventually(t, "the mail", func() bool { return len(p.delivered(t)) == 1 })
	proctest.Eventually(t, "the settling", b.settled)

	raw := bytes.ReplaceAll(p.delivered(t)[0], []byte("\n"), []byte("\r\n")) // a Maildir has Unix line ends
	o := open(t, raw)
	if got, want := o.subject(t), "Bed, near: heating, 32 °C by about 11 pm"; got != want {
		t.Errorf("subject is %q, want %q", got, want)
	}
	from, err := o.header.AddressList("From")
	if err != nil || from[0].Name != cfg.Farm.Name {
		t.Errorf("from %v, %v", from, err)
	}
	if want := "<" + notify.NoticeID("mail:keeper@example.org", heating()) + "@example.org>"; o.header.Get("Message-Id") != want {
		t.Errorf("Message-ID is %s, want %s", o.header.Get("Message-Id"), want)
	}
	wantText, err := os.ReadFile("testdata/heating.txt")
	if err != nil {
		t.Fatal(err)
	}
	_, body, _ := strings.Cut(string(wantText), "\n\n")
	if got := strings.ReplaceAll(o.text, cfg.Farm.Name, "Hillfoot Nursery"); strings.TrimSpace(got) != strings.TrimSpace(body) {
		t.Errorf("text is\n%s", got)
	}
	for id, content := range o.pictures {
		checkPicture(t, id, content)
	}
	if len(o.pictures) != 1 {
		t.Errorf("%d pictures", len(o.pictures))
	}
}
