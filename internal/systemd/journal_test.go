package systemd_test

import (
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"

	"binwatchd/internal/systemd"
)

// The journal's stream is known by the numbers that stat(1) gives, and by nothing else.
func TestInJournal(t *testing.T) {
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	defer w.Close()
	stat := exec.Command("stat", "-L", "--format=%d:%i", "/proc/self/fd/0")
	stat.Stdin = r
	out, err := stat.Output()
	if err != nil {
		t.Fatal(err)
	}
	stream := strings.TrimSpace(string(out))
	for _, tt := range []struct {
		says string
		want bool
	}{{stream, true}, {"", false}, {stream + "1", false}, {"nonsense", false}, {fmt.Sprint("0:", stream), false}} {
		getenv := func(name string) string { return map[string]string{"JOURNAL_STREAM": tt.says}[name] }
		if got := systemd.InJournal(getenv, w); got != tt.want {
			t.Errorf("JOURNAL_STREAM=%q: got %t, want %t", tt.says, got, tt.want)
		}
	}
}
