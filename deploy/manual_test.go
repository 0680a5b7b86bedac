package deploy_test

import (
	"maps"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// The manual is plain man(7): groff has nothing to complain about.
func TestManualIsWellFormed(t *testing.T) {
	if got := run(t, "groff", "-man", "-Tutf8", "-ww", "-z", "binwatchd.1"); got != "" {
		t.Errorf("groff says:\n%s", got)
	}
}

// Every command and every option of the program is in the manual.
func TestManualKnowsEveryCommand(t *testing.T) {
	binary := native(t)
	manual := commandsInManual(t)
	commands := regexp.MustCompile(`(?m)^  binwatchd (\S+) `).FindAllStringSubmatch(run(t, binary, "help"), -1)
	if len(commands) < 10 {
		t.Fatalf("help shows %d commands only", len(commands))
	}
	for _, c := range commands {
		name := c[1]
		text, ok := manual[name]
		if !ok {
			t.Errorf("the manual lacks the command %s", name)
			continue
		}
		help, err := exec.Command(binary, name, "--help").Output()
		if err != nil {
			t.Errorf("%s --help: %v", name, err)
		}
		for _, option := range regexp.MustCompile(`(?m)^  (--\S+)`).FindAllStringSubmatch(string(help), -1) {
			if !strings.Contains(text, option[1]) {
				t.Errorf("the manual of %s lacks %s", name, option[1])
			}
		}
		delete(manual, name)
	}
	for _, name := range slices.Sorted(maps.Keys(manual)) {
		t.Errorf("the manual knows a command %s, the program does not", name)
	}
}

// commandsInManual gives the paragraph of each command: in the source each
// begins by .TP and a line that sets its name in bold.
func commandsInManual(t *testing.T) map[string]string {
	t.Helper()
	b, err := os.ReadFile("binwatchd.1")
	if err != nil {
		t.Fatal(err)
	}
	_, text, _ := strings.Cut(string(b), "\n.SH COMMANDS\n")
	text, _, _ = strings.Cut(text, "\n.SH ")
	commands := map[string]string{}
	for _, paragraph := range strings.Split(strings.ReplaceAll(text, `\-`, "-"), "\n.TP\n")[1:] {
		head := strings.Fields(paragraph)
		commands[head[1]] += paragraph // jot has two
	}
	return commands
}
