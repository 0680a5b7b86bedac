package watch

import (
	"slices"

	"binwatchd/internal/farm"
)

// stampsKept is how many of a probe's newest stamped readings are known again:
// more than a device keeps to send once more.
const stampsKept = 64

// A stamp is a reading as its device sent it.
type stamp struct {
	ms  int64
	raw float64
}

// stamps know a device's own re-sending: the same number with the same time
// stamp is the same reading.
type stamps map[string][]stamp

// know notes a stamped reading and tells whether it was known.
func (s stamps) know(r farm.Reading) (repeated bool) {
	if !r.Stamped {
		return false
	}
	now, kept := stamp{r.At.UnixMilli(), r.Raw}, s[r.Probe]
	if slices.Contains(kept, now) {
		return true
	}
	if len(kept) == stampsKept {
		kept = slices.Delete(kept, 0, 1)
	}
	s[r.Probe] = append(kept, now)
	return false
}
