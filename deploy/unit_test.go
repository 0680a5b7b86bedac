package deploy_test

import (
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// systemd's own reader finds keys it does not know, values it can't read and
// programs that are not there (systemd-analyze(1), verify).
func TestUnitIsUnderstood(t *testing.T) {
	unit := readUnit(t)
	tests := []struct {
		name, unit string
		complaint  string
	}{
		{"as it is", unit, ""},
		{"with its examples in force", withExamples(unit), ""},
		{"a planted error is found", strings.Replace(unit, "WatchdogSec=", "WatchdogSecs=", 1), "WatchdogSecs"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRoot(t)
			r.write(t, "usr/bin/binwatchd", "#!/bin/sh\n", 0o755)
			r.write(t, "usr/lib/systemd/system/binwatchd.service", tt.unit, 0o644)
			got := run(t, "systemd-analyze", "verify", "--root="+r.dir, "--man=no", "binwatchd.service")
			if (got == "") != (tt.complaint == "") || !strings.Contains(got, tt.complaint) {
				t.Errorf("systemd says %q, want a word on %q", got, tt.complaint)
			}
		})
	}
}

// The exposure is systemd's own measure, from 0 (nothing) to 10 (everything)
// (systemd-analyze(1), security).
func TestUnitIsNarrow(t *testing.T) {
	r := newRoot(t)
	r.write(t, "usr/lib/systemd/system/binwatchd.service", readUnit(t), 0o644)
	out := run(t, "systemd-analyze", "security", "--offline=true", "--no-pager", "--root="+r.dir, "binwatchd.service")
	found := regexp.MustCompile(`exposure level for binwatchd.service: ([0-9.]+)`).FindStringSubmatch(out)
	if found == nil {
		t.Fatalf("no score in:\n%s", out)
	}
	score, err := strconv.ParseFloat(found[1], 64)
	if err != nil {
		t.Fatal(err)
	}
	if score > 2.0 {
		t.Errorf("exposure %.1f, want at most 2.0:\n%s", score, out)
	}
}

// Each of these is promised to the keeper or needed by the daemon; the others
// are systemd's to score.
func TestUnitKeepsItsPromises(t *testing.T) {
	unit := readUnit(t)
	for _, line := range []string{
		"Type=notify", "ExecReload=+/bin/kill -HUP $MAINPID", "User=binwatchd", "StateDirectory=binwatchd",
		"CapabilityBoundingSet=", "SystemCallFilter=adjtimex clock_adjtime", "ProcSubset=all",
		"LimitCORE=0", // a dump of memory would hold secrets
	} {
		if !strings.Contains(unit, "\n"+line+"\n") {
			t.Errorf("the unit lacks %s", line)
		}
	}
	if !regexp.MustCompile(`(?m)^WatchdogSec=\d`).MatchString(unit) || !regexp.MustCompile(`(?m)^MemoryMax=\d`).MatchString(unit) {
		t.Error("the unit lacks a watchdog or a limit of memory")
	}
	// It would forbid asking whether the clock is synchronised (systemd.exec(5)).
	if regexp.MustCompile(`(?m)^ProtectClock=`).MatchString(unit) {
		t.Error("ProtectClock= keeps the daemon from ever trusting the time")
	}
}

// Why a line is there stands above it, so that a keeper who loosens one knows
// what that gives up.
func TestUnitSaysWhy(t *testing.T) {
	explained := false
	for line := range strings.Lines(readUnit(t)) {
		line = strings.TrimSpace(line)
		switch {
		case strings.HasPrefix(line, "#") && !strings.HasPrefix(line, "# ---"):
			explained = true
		case line == "", strings.HasPrefix(line, "# ---"):
			explained = false
		case strings.Contains(line, "=") && !explained && !selfEvident[line]:
			t.Errorf("%q stands there without a reason", line)
		}
	}
}

var selfEvident = map[string]bool{
	"Description=Watches worm bins and tubs of castings": true,
	"Documentation=man:binwatchd(1)":                     true,
	"WantedBy=multi-user.target":                         true,
}

func readUnit(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile("binwatchd.service")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// withExamples puts the commented lines in force.
func withExamples(unit string) string {
	return strings.ReplaceAll(unit, "\n#LoadCredential=", "\nLoadCredential=")
}
