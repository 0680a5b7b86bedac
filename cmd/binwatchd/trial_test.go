package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"binwatchd/internal/journal"
)

const trialYAML = `farm: Hillfoot Nursery
timezone: UTC
broker: {url: "tcp://127.0.0.1:1"%s}
journal: {path: %s, flush: 1s}
probes:
  bed-t: {topic: bed/t, measures: temperature}
bins:
  bed: {species: red, zones: {all: {aim: living, probes: [bed-t]}}}
%s
`

// A stopper writes on, and stops the program when a text goes by.
type stopper struct {
	*bytes.Buffer
	at   string
	stop func()
}

func (s stopper) Write(p []byte) (int, error) {
	if bytes.Contains(p, []byte(s.at)) {
		s.stop()
	}
	return s.Buffer.Write(p)
}

// What run refuses, check refuses too, in its place, and neither waits for
// anything; what check lets pass, run starts with.
func TestCheckRefusesWhatRunRefuses(t *testing.T) {
	dir := t.TempDir()
	secretFile(t, dir, "nonsense", "nonsense")
	secretFile(t, dir, "web", "https://push.example.org/s3cret-topic")
	secretFile(t, dir, "logger", "logger://")
	secretFile(t, dir, "hostless", "generic:///s3cret-topic")
	secretFile(t, dir, "md5", "$1$abc")
	secretFile(t, dir, "hook", "whsec_!!")
	secretFile(t, dir, "good", "rhubarb-leaf")
	secretFile(t, dir, "push", "generic://push.example.org/s3cret-topic")
	if err := unix.Mkfifo(filepath.Join(dir, "pipe"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("loop.db", filepath.Join(dir, "loop.db")); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name, broker, journal, more string
		says                        string // "": it is right
	}{
		{"a pipe for a secret", `, user: u, password: {file: pipe}`, "", "", "3:55: secret {file: "},
		{"a folder for a secret", `, user: u, password: {file: .}`, "", "", "3:55: secret {file: "},
		{"a pipe for an authority", "", "", `mail: {server: mail.example.org, from: bins@example.org, ca: pipe}`, "9:62: read the authority's certificate"},
		{"an authority that is none", "", "", `mail: {server: mail.example.org, from: bins@example.org, ca: good}`, "9:62: "},
		{"a folder for the journal", "", ".", "", "4:17: open journal: "},
		{"a journal in a loop of links", "", "loop.db", "", "4:17: open journal: "},
		{"a file where the socket is to be", "", "", "control: good", "9:10: open control socket: "},
		{"another's hash", "", "", `page: {listen: "127.0.0.1:0", password: {file: md5}}`, "9:41: page password: "},
		{"a certificate that is none", "", "", `page: {listen: "127.0.0.1:0", tls: {cert: good, key: good}}`, "9:36: "},
		{"no push address", "", "", `tell: [{push: {file: nonsense}}]`, "9:8: the push address is not understood"},
		{"a web page to push to", "", "", `tell: [{push: {file: web}}]`, "https://HOST/PATH, is written generic://HOST/PATH"},
		{"a push that tells nobody", "", "", `tell: [{push: {file: logger}}]`, "9:8: the push address tells nobody"},
		{"a push without a host", "", "", `tell: [{push: {file: hostless}}]`, "9:8: the push address tells nobody: it names no host"},
		{"a hook's secret", "", "", `tell: [{webhook: "https://example.org/h", secret: {file: hook}}]`, "9:8: the webhook's secret"},
		{"a sign of life to nowhere", "", "", `sign_of_life: {url: {file: good}}`, "9:21: sign of life"},
		{"loopback by another spelling", "", "", "page: {listen: \"LocalHost:0\"}\ntell: [{webhook: \"http://LOCALHOST:9/h\"}, {push: {file: push}}]", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			journal := tt.journal
			if journal == "" {
				journal = strings.ReplaceAll(tt.name, " ", "-") + ".db"
			}
			cfg := write(t, dir, "binwatchd.yaml", fmt.Sprintf(trialYAML, tt.broker, journal, tt.more))
			var out, talk, runs bytes.Buffer
			code := dispatch(t.Context(), []string{"check", "--config", cfg}, &streams{nil, &out, &talk})
			if (code != exitDone) != (tt.says != "") || !strings.Contains(talk.String(), tt.says) {
				t.Errorf("check ends with %d: %s", code, &talk)
			}
			ctx, stop := context.WithCancel(t.Context())
			defer stop()
			ended := dispatch(ctx, []string{"run", "--config", cfg}, &streams{nil, &out, stopper{&runs, "msg=watching", stop}})
			if refused := !strings.Contains(runs.String(), "msg=watching"); refused != (tt.says != "") {
				t.Errorf("run ends with %d: %s", ended, &runs)
			}
			if _, err := os.Stat(filepath.Join(dir, "good")); err != nil {
				t.Errorf("a file in the way was removed: %v", err)
			}
			for _, secret := range []string{"s3cret-topic", "rhubarb-leaf"} {
				if strings.Contains(talk.String()+runs.String(), secret) {
					t.Errorf("%s is shown: %s%s", secret, &talk, &runs)
				}
			}
		})
	}
}

// A jot that meets a daemon on its way up or down, which holds the journal and
// does not answer, waits for it rather than get lost.
func TestAJotWaitsForADaemonThatStops(t *testing.T) {
	dir := t.TempDir()
	cfg := write(t, dir, "binwatchd.yaml", fmt.Sprintf(trialYAML, "", "journal.db", ""))
	config := journal.Config{Path: filepath.Join(dir, "journal.db"), Now: time.Now}
	daemon, err := journal.Open(t.Context(), config)
	if err != nil {
		t.Fatal(err)
	}
	var out, talk bytes.Buffer
	jotted := make(chan int)
	go func() {
		jotted <- dispatch(t.Context(), []string{"jot", "bed", "watered", "2", "L", "--config", cfg}, &streams{nil, &out, &talk})
	}()
	select {
	case code := <-jotted:
		t.Fatalf("it did not wait: %d, %s", code, &talk)
	case <-time.After(time.Second): // a short look can miss a fault, never invent one
	}
	if err := daemon.Close(); err != nil {
		t.Fatal(err)
	}
	if code := <-jotted; code != exitDone || !strings.Contains(out.String(), "noted, with no daemon running: Bed watered 2 L") {
		t.Errorf("jot ends with %d: %s%s", code, &out, &talk)
	}
}

// A folder that is not there is said, and refuses nothing: the file may be meant
// for another machine.
func TestCheckNotesAFolderThatIsMissing(t *testing.T) {
	cfg := write(t, t.TempDir(), "binwatchd.yaml", fmt.Sprintf(trialYAML, "", "nowhere/journal.db", ""))
	var out, talk bytes.Buffer
	if code := dispatch(t.Context(), []string{"check", "--config", cfg}, &streams{nil, &out, &talk}); code != exitDone {
		t.Errorf("got exit %d: %s", code, &talk)
	}
	if want := "4:17: there is no folder "; !strings.Contains(talk.String(), want) || !strings.Contains(talk.String(), "nowhere here; binwatchd run does not make it") {
		t.Errorf("got %q, want it to name the folder, and %q", &talk, want)
	}
}
