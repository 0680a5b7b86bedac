package control_test

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"binwatchd/internal/control"
	"binwatchd/internal/farm"
)

// endless is a daemon with a view that JSON has no words for.
type endless struct{ porch }

func (endless) Look(context.Context, bool) (farm.View, error) {
	v := math.Inf(1)
	return farm.View{Farm: "Hillfoot Nursery", Probes: []farm.ProbeView{{ID: "crate-t", Value: &v}}}, nil
}

// Half an answer, or an empty one, would leave whoever asks with a riddle.
func TestAViewThatCannotBeWrittenIsAnError(t *testing.T) {
	path := filepath.Join(t.TempDir(), "control.sock")
	s, err := control.Listen(path, "journal.db", &endless{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := control.NewClient(path, "journal.db").Look(t.Context(), true); err == nil || !strings.Contains(err.Error(), "write the view") {
		t.Errorf("got the error %v, want it to say that the view cannot be written", err)
	}
}

// Two farms on one machine may come to share a socket by mistake. What is meant for
// one of them must not reach the other, and the keeper must learn of it.
func TestADaemonAnswersForItsOwnJournalAlone(t *testing.T) {
	dir := t.TempDir()
	path, ours := filepath.Join(dir, "control.sock"), filepath.Join(dir, "bean bed.db")
	if err := os.WriteFile(ours, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	linked := filepath.Join(dir, "linked.db")
	if err := os.Symlink(ours, linked); err != nil {
		t.Fatal(err)
	}
	p := &porch{}
	s, err := control.Listen(path, ours, p)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	seen := control.Action{Seen: []farm.Seen{{Episode: "too-dry-bed"}}}
	for _, journal := range []string{ours, linked, dir + "/../" + filepath.Base(dir) + "/bean bed.db", ""} {
		if err := control.NewClient(path, journal).Act(t.Context(), seen); err != nil {
			t.Errorf("%q: %v", journal, err)
		}
	}
	other := filepath.Join(dir, "other.db")
	err = control.NewClient(path, other).Act(t.Context(), seen)
	if err == nil || !strings.Contains(err.Error(), ours) || !strings.Contains(err.Error(), other) || strings.Contains(err.Error(), "\n") {
		t.Errorf("got %v, want one line that names both journals", err)
	}
	if _, err := control.NewClient(path, other).Copy(t.Context()); err == nil || !strings.Contains(err.Error(), "control:") {
		t.Errorf("the journal of another farm was copied: %v", err)
	}
	if len(p.acts) != 4 {
		t.Errorf("%d things were done, want the four of this farm", len(p.acts))
	}
}
