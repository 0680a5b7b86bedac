package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/influxtest"
	"binwatchd/internal/proctest"
)

// What the scripts call by a variable, the pages print as on a Pi.
var printed = strings.NewReplacer(
	"$CONFIG", "/etc/binwatchd/binwatchd.yaml", "$ETC", "/etc/binwatchd", "$LIB", "/var/lib/binwatchd", "$STICK", "/media/stick",
	"$BROKER", "tcp://127.0.0.1:1883", "$PORT", "1883", "$OWN", "1884", "$FROM", "2026-05-01", "$LONG", "15m", "$DEPLOY", "deploy",
)

// Each page of docs/ has a script that runs its commands, against a real
// broker and, for what a service manager does, a daemon of the test's own.
func TestDocs(t *testing.T) {
	for _, page := range pages(t) {
		t.Run(page, func(t *testing.T) {
			m := &manager{t: t}
			testscript.Run(t, testscript.Params{
				Files: []string{filepath.Join("testdata", "docs", page+".txtar")},
				Setup: func(e *testscript.Env) error { return setUp(t, e) },
				Cmds: map[string]func(*testscript.TestScript, bool, []string){
					"systemctl": m.systemctl, "journalctl": m.journalctl, "past": past, "until": until,
				},
			})
		})
	}
}

// pages are the names of docs/*.md without their ends.
func pages(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob("../../docs/*.md")
	if err != nil || len(files) < 5 {
		t.Fatalf("got the pages %v, %v", files, err)
	}
	for i, f := range files {
		files[i] = strings.TrimSuffix(filepath.Base(f), ".md")
	}
	return files
}

// setUp gives a script a broker with three users, a database, a webhook and
// the directories of an installed machine.
func setUp(t *testing.T, e *testscript.Env) error {
	findsProgram(t, e)
	broker := brokertest.StartMosquitto(t, brokertest.Options{Users: map[string]string{"binwatchd": "clover", "keeper": "rhubarb", "probes": "willow"}})
	db := influxtest.StartInfluxd(t, influxtest.Options{})
	db.Do("CREATE DATABASE bins")
	h := startHook(t)
	deploy, err := filepath.Abs("../../deploy")
	if err != nil {
		return err
	}
	own := proctest.FreeAddr(t)
	for name, value := range map[string]string{
		"TZ": "UTC", "BROKER": broker.URL, "PORT": broker.URL[strings.LastIndex(broker.URL, ":")+1:], "OWN": own[strings.LastIndex(own, ":")+1:],
		"ETC": e.WorkDir + "/etc", "CONFIG": e.WorkDir + "/etc/binwatchd.yaml", "LIB": e.WorkDir + "/lib", "STICK": e.WorkDir + "/stick",
		"PAGE": proctest.FreeAddr(t), "FROM": time.Now().AddDate(0, 0, -3).Format(time.DateOnly), "SOON": time.Now().AddDate(0, 0, 60).Format("2 Jan"), "LONG": "5s",
		"DB": db.URL, "HOOK": h.url, "DEPLOY": deploy,
	} {
		e.Setenv(name, value)
	}
	for _, dir := range []string{"lib", "stick"} {
		if err := os.MkdirAll(filepath.Join(e.WorkDir, dir), 0o755); err != nil {
			return err
		}
	}
	if err := os.WriteFile(e.WorkDir+"/etc/hook.secret", []byte(h.secret), 0o600); err != nil {
		return err
	}
	return filepath.WalkDir(e.WorkDir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		return dress(path, e)
	})
}

// dress fills variables into configurations and closes secrets.
func dress(path string, e *testscript.Env) error {
	switch filepath.Ext(path) {
	case ".secret":
		return os.Chmod(path, 0o600)
	case ".yaml":
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		return os.WriteFile(path, []byte(os.Expand(string(text), e.Getenv)), 0o644)
	}
	return nil
}

// A manager stands in for systemd: it starts, stops and reloads a daemon, and
// shows its log.
type manager struct {
	t      *testing.T
	daemon *proctest.Process
}

func (m *manager) systemctl(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 || args[1] != "binwatchd" {
		ts.Fatalf("usage: systemctl start|stop|reload binwatchd")
	}
	switch args[0] {
	case "start":
		m.daemon = startChild(m.t, nil, "run", "--config", ts.Getenv("CONFIG"))
		m.daemon.Says("broker reached")
	case "stop":
		m.daemon.Stop()
	case "reload":
		ts.Check(m.daemon.Cmd.Process.Signal(syscall.SIGHUP))
		m.daemon.Says(`"configuration changed" is=`) // which is logged last
	default:
		ts.Fatalf("there is no systemctl %s here", args[0])
	}
}

func (m *manager) journalctl(ts *testscript.TestScript, neg bool, args []string) {
	if neg || m.daemon == nil {
		ts.Fatalf("there is no log yet")
	}
	fmt.Fprint(ts.Stdout(), m.daemon.Log)
}

// past has the farm live through five days until now. The bed is a little too
// hot for three hours of each, and its moisture stands.
func past(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 0 {
		ts.Fatalf("usage: past")
	}
	now := time.Now()
	since := now.Add(-5 * 24 * time.Hour)
	ts.Check(relive(ts.Getenv("CONFIG"), since, now, func(at time.Time, publish func(topic, payload string)) {
		day := 2 * math.Pi * (at.Sub(since).Hours()/24 + 0.02) // by the days of this past: the script prints the same at any hour
		publish("glass/bed", fmt.Sprintf(`{"t": %.2f, "soil": %d, "at": %q}`, 21+8*math.Sin(day), 1780+at.Minute(), at.UTC().Format(time.RFC3339)))
	}))
}

// until runs a command again and again until it prints what is wanted.
func until(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: until PATTERN COMMAND...")
	}
	want, err := regexp.Compile(args[0])
	ts.Check(err)
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for deadline := time.Now().Add(20 * time.Second); ; <-tick.C {
		err := ts.Exec(args[1], args[2:]...)
		if err == nil && want.MatchString(ts.ReadFile("stdout")) {
			return
		}
		if time.Now().After(deadline) {
			ts.Fatalf("%v: never printed %q; in the end: %v\n%s%s", args[1:], args[0], err, ts.ReadFile("stdout"), ts.ReadFile("stderr"))
		}
	}
}

// Every command that a page shows is run by its script, word for word, and
// every line of output that it shows is one the script compares with.
func TestEveryDocumentedCommandIsRun(t *testing.T) {
	for _, page := range pages(t) {
		t.Run(page, func(t *testing.T) {
			script, err := os.ReadFile(filepath.Join("testdata", "docs", page+".txtar"))
			if err != nil {
				t.Fatal(err)
			}
			text := printed.Replace(string(script))
			run := commandsOf(text)
			commands, output := consoleOf(t, page)
			for _, c := range commands {
				if !run[c] {
					t.Errorf("no script runs: %s", c)
				}
			}
			for _, line := range output {
				if !strings.Contains(text, "\n"+line+"\n") {
					t.Errorf("no script compares with the output: %s", line)
				}
			}
			if len(commands) == 0 {
				t.Error("the page shows no command")
			}
		})
	}
}

var fence = regexp.MustCompile("(?ms)^```(\\w+)\n(.*?)^```$")

// blocksOf gives the fenced blocks of a page in a language.
func blocksOf(t *testing.T, page, language string) []string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("../../docs", page+".md"))
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, m := range fence.FindAllStringSubmatch(string(text), -1) {
		if m[1] == language {
			out = append(out, m[2])
		}
	}
	return out
}

// consoleOf gives the commands and the output that a page shows.
func consoleOf(t *testing.T, page string) (commands, output []string) {
	t.Helper()
	for _, block := range blocksOf(t, page, "console") {
		for line := range strings.Lines(strings.ReplaceAll(block, "\\\n", " ")) {
			line = strings.TrimRight(line, "\n")
			if c, ok := strings.CutPrefix(line, "$ "); ok {
				commands = append(commands, strings.Join(strings.Fields(strings.TrimPrefix(c, "sudo ")), " "))
			} else if line != "" && line != "..." {
				output = append(output, line)
			}
		}
	}
	return commands, output
}

var (
	ran   = regexp.MustCompile(`^(?:! )?(?:exec |until '[^']*' )?(.*?)(?: &(?:\w+&)?)?$`)
	shell = regexp.MustCompile(`^sh -c '(.*)'$`)
)

// commandsOf gives the commands that a script runs.
func commandsOf(script string) map[string]bool {
	all := map[string]bool{}
	for line := range strings.Lines(script) {
		line = strings.TrimSpace(line)
		if strings.HasPrefix(line, "-- ") {
			break // the files
		}
		c := ran.FindStringSubmatch(line)[1]
		if m := shell.FindStringSubmatch(c); m != nil {
			c = m[1]
		}
		all[strings.Join(strings.Fields(c), " ")] = true
		all["sh -c '"+strings.Join(strings.Fields(c), " ")+"'"] = true
	}
	return all
}
