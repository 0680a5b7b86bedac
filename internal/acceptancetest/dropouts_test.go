package acceptancetest_test

import (
	"testing"

	"binwatchd/internal/acceptancetest"
)

// A device of two probes that drops out night after night is told of a few times, not
// twice each time.
func TestDropOutsAreFewNotices(t *testing.T) {
	t.Parallel()
	s := acceptancetest.DropOuts(4, 60_000, start)
	t.Logf("%d notices for %d drop-outs in %.0f weeks", s.Told, s.Drops, s.Weeks)
	if s.Drops < 60 || float64(s.Told) > s.Weeks {
		t.Errorf("%d notices for %d drop-outs in %.0f weeks, want less than one a week", s.Told, s.Drops, s.Weeks)
	}
}
