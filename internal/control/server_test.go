package control_test

import (
	"context"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"binwatchd/internal/control"
	"binwatchd/internal/farm"
)

// endless is a door with a view that JSON has no words for.
type endless struct{ porch }

func (endless) Look(context.Context) (farm.View, error) {
	v := math.Inf(1)
	return farm.View{Farm: "Hillfoot Nursery", Probes: []farm.ProbeView{{ID: "crate-t", Value: &v}}}, nil
}

// Half an answer, or an empty one, would leave whoever asks with a riddle.
func TestAViewThatCannotBeWrittenIsAnError(t *testing.T) {
	path := filepath.Join(t.TempDir(), "control.sock")
	s, err := control.Listen(path, &endless{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := control.NewClient(path).Look(t.Context()); err == nil || !strings.Contains(err.Error(), "write the view") {
		t.Errorf("got the error %v, want it to say that the view cannot be written", err)
	}
}
