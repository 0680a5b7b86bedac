package proctest_test

import (
	"os/exec"
	"strings"
	"syscall"
	"testing"

	"binwatchd/internal/proctest"
)

func TestProcess(t *testing.T) {
	p := proctest.Start(t, exec.Command("sh", "-c", `trap 'echo asked to end; exit 0' TERM; echo ready >&2; while :; do sleep 0.01; done`))
	p.Says("ready")
	p.Stop()
	if said := p.Log.String(); !strings.Contains(said, "asked to end") {
		t.Errorf("the log lacks what was printed: %q", said)
	}
	p.End(syscall.SIGKILL) // of one that is gone
}

func TestOneThatEndsBeforeItIsReadyIsAnError(t *testing.T) {
	p := proctest.Start(t, exec.Command("sh", "-c", "echo out of luck; exit 3"))
	err := p.Ready(func() bool { return false })
	if err == nil || !strings.Contains(err.Error(), "out of luck") {
		t.Errorf("got %v, want an error with what it said", err)
	}
	if code := p.Cmd.ProcessState.ExitCode(); code != 3 {
		t.Errorf("exit code %d, want 3", code)
	}
	if _, err := proctest.TryStart(t, exec.Command("/there/is/no/such/program")); err == nil {
		t.Error("what is not there was started")
	}
}
