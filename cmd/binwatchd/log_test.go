package main

import (
	"bytes"
	"encoding/json"
	"log/slog"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"binwatchd/internal/farm"
)

// A line for systemd's journal begins with its priority, as sd-daemon(3) and syslog(3)
// number them, and leaves the time to the journal. Elsewhere a line is as slog has it.
func TestLogSaysItsPriorityToTheJournal(t *testing.T) {
	for _, tt := range []struct {
		name              string
		asJSON, toJournal bool
		want              []string // how the lines begin
	}{
		{"text to the journal", false, true, []string{"<6>level=INFO msg=one bin=bed n=1\n", "<4>level=WARN msg=two bin=bed\n", "<3>level=ERROR msg=three bin=bed\n"}},
		{"JSON to the journal", true, true, []string{`<6>{"level":"INFO","msg":"one","bin":"bed","n":1}` + "\n", `<4>{"level":"WARN"`, `<3>{"level":"ERROR"`}},
		{"text elsewhere", false, false, []string{"time=2", "time=2", "time=2"}},
		{"JSON elsewhere", true, false, []string{`{"time":"2`, `{"time":"2`, `{"time":"2`}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var b bytes.Buffer
			log := newLog(&b, tt.asJSON, tt.toJournal, slog.LevelInfo).With("bin", "bed")
			log.Debug("nothing")
			log.Info("one", "n", 1)
			log.Warn("two")
			log.Error("three")
			got := strings.SplitAfter(b.String(), "\n")
			if len(got) != len(tt.want)+1 {
				t.Fatalf("got %q", got)
			}
			for i, want := range tt.want {
				if !strings.HasPrefix(got[i], want) {
					t.Errorf("got %q, want it to begin with %q", got[i], want)
				}
				if tt.asJSON && !json.Valid([]byte(got[i][strings.Index(got[i], "{"):])) {
					t.Errorf("%q is no JSON", got[i])
				}
			}
		})
	}
}

// What ends a command is an error to the journal, line by line, for who asks it with
// journalctl -p err; at a terminal it is as it was.
func TestAMistakeIsAnErrorToTheJournal(t *testing.T) {
	bad := write(t, t.TempDir(), "bad.yaml", "farm: 1\nfrom: 2\n")
	for _, led := range []bool{true, false} {
		talk, err := os.CreateTemp(t.TempDir(), "talk")
		if err != nil {
			t.Fatal(err)
		}
		stat := exec.Command("stat", "--format=%d:%i", talk.Name())
		out, err := stat.Output()
		if err != nil {
			t.Fatal(err)
		}
		stream := strings.TrimSpace(string(out))
		if !led {
			stream = "1:1"
		}
		cmd := exec.Command(os.Args[0], "run", "--config", bad)
		cmd.Env, cmd.Stderr = append(os.Environ(), childMark+"=1", "JOURNAL_STREAM="+stream), talk
		if err := cmd.Run(); cmd.ProcessState.ExitCode() != exitWrong {
			t.Fatalf("exit %d, %v", cmd.ProcessState.ExitCode(), err)
		}
		said, err := os.ReadFile(talk.Name())
		if err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(strings.TrimSpace(string(said)), "\n")
		if len(lines) < 2 {
			t.Fatalf("got %q, want several mistakes", said)
		}
		for _, line := range lines {
			if strings.HasPrefix(line, "<3>") != led {
				t.Errorf("led to the journal: %t; got %q", led, line)
			}
		}
	}
}

// Colour is for a terminal alone, and for those who want it (no-color.org).
func TestColourIsForATerminal(t *testing.T) {
	terminal, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer terminal.Close()
	null, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer null.Close()
	for _, tt := range []struct {
		name string
		to   *os.File
		env  map[string]string
		want bool
	}{
		{"a terminal", terminal, nil, true},
		{"a device that is none", null, nil, false},
		{"NO_COLOR", terminal, map[string]string{"NO_COLOR": "1"}, false},
		{"NO_COLOR, but empty", terminal, map[string]string{"NO_COLOR": ""}, true},
		{"one that can't", terminal, map[string]string{"TERM": "dumb"}, false},
	} {
		if got := colourful(&answer{w: tt.to}, func(name string) string { return tt.env[name] }); got != tt.want {
			t.Errorf("%s: got %t, want %t", tt.name, got, tt.want)
		}
	}
	if colourful(&bytes.Buffer{}, func(string) string { return "" }) {
		t.Error("a buffer is taken for a terminal")
	}
	v := farm.View{At: time.Now(), Standing: []farm.Standing{{Urgency: farm.Now, Text: "The journal can't be written."}}}
	for _, colour := range []bool{true, false} {
		_, text := nowAnswer(v, &farm.Farm{Location: time.UTC}, colour)
		if strings.Contains(text, "\x1b[1;31mNOW\x1b[0m: ") != colour || strings.Contains(text, "\x1b") != colour {
			t.Errorf("colour %t: got %q", colour, text)
		}
	}
}
