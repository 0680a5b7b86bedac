package main

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/proctest"
)

// A sitting is a run of begin with somebody at a terminal.
type sitting struct {
	t    *testing.T
	run  *proctest.Process
	keys *os.File      // what is typed
	echo *proctest.Log // what the terminal shows of that
	out  *proctest.Log
	read int // how much of the talk was read
}

func sitDown(t *testing.T, path string) *sitting {
	t.Helper()
	keys, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { keys.Close() })
	if err := unix.IoctlSetPointerInt(int(keys.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	n, err := unix.IoctlGetInt(int(keys.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	screen, err := os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	s := &sitting{t: t, keys: keys, echo: &proctest.Log{}, out: &proctest.Log{}}
	cmd := exec.Command(os.Args[0], "begin", path)
	cmd.Env = append(os.Environ(), childMark+"=1", "TZ=UTC")
	cmd.Stdin, cmd.Stdout = screen, s.out
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	s.run = proctest.Start(t, cmd)
	screen.Close()
	go io.Copy(s.echo, keys)
	return s
}

// heard waits for a text of the talk behind what was read.
func (s *sitting) heard(text string) {
	s.t.Helper()
	proctest.Eventually(s.t, fmt.Sprintf("%q of\n%s", text, s.run.Log), func() bool {
		i := strings.Index(s.run.Log.String()[s.read:], text)
		if i >= 0 {
			s.read += i + len(text)
		}
		return i >= 0
	})
}

// says waits for a question and answers it.
func (s *sitting) says(question, answer string) {
	s.t.Helper()
	s.heard(question)
	s.heard("] ")
	s.types(answer + "\n")
}

func (s *sitting) types(text string) {
	s.t.Helper()
	if _, err := s.keys.WriteString(text); err != nil {
		s.t.Fatal(err)
	}
}

// hears lists what is heard until all of some is.
func (s *sitting) hears(probes ...string) {
	s.t.Helper()
	proctest.Eventually(s.t, fmt.Sprintf("hear %v", probes), func() bool {
		s.says("Which probe is in", "list")
		from := s.read
		proctest.Eventually(s.t, "the list", func() bool {
			text := s.run.Log.String()[from:]
			return strings.Contains(text, "Which number?") || strings.Contains(text, "No probe without a place")
		})
		text := s.run.Log.String()[from:]
		if strings.Contains(text, "Which number?") {
			s.says("Which number?", "none")
		}
		for _, p := range probes {
			if !strings.Contains(text, p) {
				return false
			}
		}
		return true
	})
}

func (s *sitting) ends(code int) {
	s.t.Helper()
	<-s.run.Gone
	if got := s.run.Cmd.ProcessState.ExitCode(); got != code {
		s.t.Errorf("exit %d, want %d: %s", got, code, s.run.Log)
	}
}

// Somebody who writes no YAML answers questions, some of them wrongly, and takes probes into
// the hand: none moves, two move, one moves. What is written is valid, reads what the probes
// send and holds no secret; a test is sent. Another day a bin is added, and nothing else changes.
func TestBeginByTheHand(t *testing.T) {
	broker := brokertest.StartMosquitto(t, brokertest.Options{Users: map[string]string{"keeper": "rhubarb"}})
	probes := brokertest.Client(t, broker.URL, "probes", "keeper", "rhubarb")
	publish := func(topic, payload string) {
		t.Helper()
		brokertest.Done(t, "publish "+topic, probes.Publish(topic, 1, false, payload))
	}
	var pushed atomic.Int32
	phone := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/cherry" {
			pushed.Add(1)
		}
	}))
	t.Cleanup(phone.Close)
	path := filepath.Join(t.TempDir(), "farm.yaml")

	s := sitDown(t, path)
	s.says("your farm called", "Hillfoot: the Nursery")
	s.says("metric/us", "litres")
	s.heard("one of metric, us, please")
	s.says("metric/us", "")
	s.says("MQTT broker", "tcp://"+proctest.FreeAddr(t))
	s.says("Your user there", "")
	s.heard("That does not work")
	s.says("MQTT broker", broker.URL)
	s.says("Your user there", "keeper")
	s.heard("not shown. ")
	s.types("turnip\n")
	s.heard("That does not work")
	s.says("MQTT broker", "")
	s.says("Your user there", "")
	s.heard("not shown. ")
	s.types("rhubarb\n")
	s.heard("It answers")
	publish("glass/bed", `{"t": 19.5, "soil_moisture": 71.5, "uptime": 5}`)
	publish("shed/stack/temperature", "18.25")
	publish("shed/tub/temperature", "12.5")

	s.says("name of a bin", "my bed!")
	s.heard("cannot be a name")
	s.says("name of a bin", "")
	s.says("living/sifting/keeping", "")
	s.says("Which worms", "purple")
	s.heard(`"purple" is none of them`)
	s.says("Which worms", "red, blue")
	s.says("How much is in it", "much")
	s.says("How much is in it", "160 L")
	s.hears("glass-bed-t", "shed-stack-t", "shed-tub-t")
	s.says("Which probe is in bed", "") // and the hand is in the wrong place
	s.heard("to give up. [done] ")
	publish("glass/bed", `{"t": 19.75, "soil_moisture": 71.0, "uptime": 600}`)
	s.types("\n")
	s.heard("Nothing moved")
	s.hears("glass-bed-t (glass/bed /t): 19.5 to 19.75")
	s.says("Which probe is in bed", "") // the hand holds two
	s.heard("to give up. [done] ")
	publish("glass/bed", `{"t": 27.5, "soil_moisture": 71.5, "uptime": 700}`)
	publish("shed/stack/temperature", "26")
	s.heard("moved: glass-bed-t (glass/bed /t) went from 19.75 to 27.5 C")
	s.heard("moved: shed-stack-t")
	s.types("\n")
	s.heard("More than one moved")
	s.says("Which number?", "3")
	s.heard("a number from 1 to 2, or none")
	s.says("Which number?", "")
	s.says("Which probe is in bed", "")
	s.heard("to give up. [done] ")
	publish("shed/stack/temperature", "25") // it cools down, by less than a hand warms
	publish("glass/bed", `{"t": 33.5, "soil_moisture": 71.5, "uptime": 900}`)
	s.heard("moved: glass-bed-t")
	s.types("\n")
	s.says("Is this the one in bed", "")
	s.says("another probe in bed", "")
	s.heard("bed is written, with glass-bed-t, glass-bed-m.")

	s.says("another bin", "bed")
	s.heard("bed is there already")
	s.says("another bin", "stack")
	s.says("living/sifting/keeping", "sift")
	s.says("How much is in it", "")
	s.says("Which probe is in stack", "")
	s.heard("to give up. [done] ")
	publish("glass/bed", `{"t": 21, "soil_moisture": 71.5, "uptime": 950}`) // it has its place: it does not count
	publish("shed/stack/temperature", "31")
	s.heard("moved: shed-stack-t")
	s.types("\n")
	s.says("Is this the one in stack", "y")
	s.says("another probe in stack", "")
	s.heard("stack is written")
	s.says("another bin", "")
	s.says("nobody/mail/push", "push")
	s.heard("not shown. ")
	s.types("generic://" + strings.TrimPrefix(phone.URL, "http://") + "/cherry?disabletls=yes\n")
	s.says("Send a test now", "")
	s.ends(0)
	if pushed.Load() == 0 {
		t.Errorf("no test arrived: %s", s.run.Log)
	}
	if !strings.Contains(s.out.String(), path+" is valid: Hillfoot: the Nursery, 2 bins, 3 probes") {
		t.Errorf("answered %q", s.out)
	}
	first, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for where, text := range map[string]string{"the file": string(first), "the talk": s.run.Log.String(), "the answer": s.out.String(), "the terminal": s.echo.String()} {
		for _, secret := range []string{"rhubarb", "turnip", "cherry"} {
			if strings.Contains(text, secret) {
				t.Errorf("%s shows a secret: %s", where, text)
			}
		}
	}
	if got := strings.Count(string(first), "every: 10m # guess: it was heard more often"); got != 3 || strings.Contains(string(first), "\n\n\n") {
		t.Errorf("%d paces are put off, want 3, and no two blank lines:\n%s", got, first)
	}
	out, code := runChild(t, "check", "--config", path, "--payload", "glass/bed", `{"t": 20.5, "soil_moisture": 70}`)
	if code != 0 || !strings.Contains(out, "glass-bed-t: 20.5 C is 20.5 °C") || !strings.Contains(out, "glass-bed-m: 70 % is 70 %") {
		t.Errorf("check: exit %d: %s", code, out)
	}

	// Another day.
	s = sitDown(t, path)
	s.says("add/new", "")
	s.says("another bin", "tub")
	publish("glass/bed", `{"t": 21, "soil_moisture": 71.5, "uptime": 950}`)
	publish("shed/tub/temperature", "13")
	s.says("living/sifting/keeping", "keeping")
	s.says("How much is in it", "40 L")
	s.hears("shed-tub-t")
	s.says("Which probe is in tub", "list")
	s.says("Which number?", "1")
	s.says("another probe in tub", "")
	s.heard("tub is written, with shed-tub-t")
	s.says("another bin", "crate")
	s.says("living/sifting/keeping", "keeping")
	s.heard("How much is in it")
	s.types("\x03") // Ctrl-C
	s.ends(1)
	s.heard("Left. " + path + " has what was written so far")
	second, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rest := second
	for line := range bytes.Lines(first) { // all of them, in their order
		_, after, ok := bytes.Cut(rest, line)
		if !ok {
			t.Fatalf("%q is gone or elsewhere:\n%s", line, second)
		}
		rest = after
	}
	if out, code := runChild(t, "check", "--config", path); code != 0 || !strings.Contains(out, "3 bins, 4 probes") {
		t.Errorf("check: exit %d: %s\n%s", code, out, second)
	}
}

// Who leaves before a bin is known leaves nothing behind.
func TestBeginIsLeft(t *testing.T) {
	broker := brokertest.StartMosquitto(t, brokertest.Options{})
	for _, leave := range []string{"\x03", "\x04"} { // Ctrl-C, Ctrl-D
		path := filepath.Join(t.TempDir(), "farm.yaml")
		s := sitDown(t, path)
		s.says("your farm called", "")
		s.says("metric/us", "us")
		s.says("MQTT broker", broker.URL)
		s.says("Your user there", "")
		s.says("name of a bin", "heap")
		s.heard("living/sifting/keeping")
		s.types(leave)
		s.ends(1)
		s.heard("Left. No configuration was written.")
		if left, _ := filepath.Glob(filepath.Join(filepath.Dir(path), "*")); len(left) > 0 {
			t.Errorf("left behind: %v", left)
		}
	}
}

// What can't be gone on from is said at once, and left as it is; the package's sample makes
// room for a new file, and is kept.
func TestBeginBesideAFile(t *testing.T) {
	sample, err := os.ReadFile("../../configs/small.yaml")
	if err != nil {
		t.Fatal(err)
	}
	const bins = "probes:\n  bed-t: {topic: bed, measures: temperature}\nbins:\n  bed: {zones: {all: {aim: living, probes: [bed-t]}}}\n"
	for _, tt := range []struct{ name, text, says string }{
		{"not valid", "farm: X\n", "is not valid; put that right first"},
		{"its own broker", "farm: X\nbroker: {listen: \"127.0.0.1:1883\"}\njournal: {path: j.db}\n" + bins, "binwatchd is the broker itself"},
		{"no broker there", "farm: X\nbroker: {url: \"tcp://" + proctest.FreeAddr(t) + "\"}\njournal: {path: j.db}\n" + bins, "connection refused"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			path := write(t, t.TempDir(), "farm.yaml", tt.text)
			s := sitDown(t, path)
			if tt.name != "not valid" {
				s.says("add/new", "")
			}
			s.heard(tt.says)
			s.ends(1)
			if got, _ := os.ReadFile(path); string(got) != tt.text {
				t.Errorf("the file became %q", got)
			}
		})
	}
	broker := brokertest.StartMosquitto(t, brokertest.Options{})
	path := write(t, t.TempDir(), "farm.yaml", string(sample))
	s := sitDown(t, path)
	s.says("add/new", "new")
	s.says("your farm called", "")
	s.says("metric/us", "")
	s.says("MQTT broker", broker.URL)
	s.says("Your user there", "")
	s.says("name of a bin", "heap")
	s.says("living/sifting/keeping", "")
	s.says("Which worms", "")
	s.says("How much is in it", "")
	broker.Publish("yard/probe/temperature", 1, false, "12.5")
	s.hears("yard-probe-t")
	s.says("Which probe is in heap", "list")
	s.says("Which number?", "1")
	s.says("another probe in heap", "")
	s.says("another bin", "")
	s.says("nobody/mail/push", "")
	s.ends(0)
	if old, _ := os.ReadFile(path + ".old"); string(old) != string(sample) {
		t.Errorf("the sample became %q", old)
	}
	if out, code := runChild(t, "check", "--config", path); code != 0 || !strings.Contains(out, "Worm farm, 1 bin, 1 probe") {
		t.Errorf("check: exit %d: %s", code, out)
	}
}
