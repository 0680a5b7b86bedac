package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"binwatchd/internal/farm"
	"binwatchd/internal/proctest"
)

// startChild runs the program with arguments.
func startChild(t *testing.T, env []string, args ...string) *proctest.Process {
	t.Helper()
	cmd := exec.Command(os.Args[0], args...)
	cmd.Env = append(append(os.Environ(), childMark+"=1"), env...)
	return proctest.Start(t, cmd)
}

// unraced makes the program as it is for a PC, once. A command that ends by itself
// starts in a tenth of the time that it takes under the race detector, which has
// the daemons to look at.
var unraced = sync.OnceValues(func() (path string, err error) {
	if path, err = filepath.Abs("../../out/plain/binwatchd"); err != nil {
		return "", err
	}
	cmd := exec.Command("go", "build", "-trimpath", "-o", path, ".")
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", fmt.Errorf("build the program: %w\n%s", err, out)
	}
	return path, nil
})

// program is where the program is that [unraced] made.
func program(t testing.TB) string {
	t.Helper()
	path, err := unraced()
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// findsProgram has a script find the program that [unraced] made.
func findsProgram(t testing.TB, e *testscript.Env) {
	e.Setenv("PATH", filepath.Dir(program(t))+string(filepath.ListSeparator)+e.Getenv("PATH"))
}

// runChild runs a command to its end and gives what it printed.
func runChild(t *testing.T, args ...string) (out string, code int) {
	t.Helper()
	cmd := exec.Command(program(t), args...)
	var talk bytes.Buffer
	cmd.Stderr = &talk
	answer, err := cmd.Output()
	if err != nil && cmd.ProcessState == nil {
		t.Fatal(err)
	}
	if code = cmd.ProcessState.ExitCode(); code != 0 {
		t.Logf("binwatchd %s: exit %d: %s", strings.Join(args, " "), code, talk.String())
	}
	return string(answer), code
}

// nowView asks how the farm stands.
func nowView(t *testing.T, cfg string) farm.View {
	t.Helper()
	out, code := runChild(t, "now", "--config", cfg, "--json")
	if code != 0 {
		t.Fatalf("binwatchd now: exit %d", code)
	}
	var v farm.View
	if err := json.Unmarshal([]byte(out), &v); err != nil {
		t.Fatalf("binwatchd now --json: %v", err)
	}
	return v
}

// write puts a file into a directory of its own and gives its path.
func write(t *testing.T, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
