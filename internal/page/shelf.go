package page

import (
	"context"
	"sync"
	"time"

	"binwatchd/internal/farm"
)

// A curveKey names one curve of one length.
type curveKey struct {
	bin, zone string
	q         farm.Quantity
	step      time.Duration
}

// A shelf keeps the samples behind the curves until their next step begins, so
// that a page of forty zones asks the journal for eighty curves once in half
// an hour and not at every look. What has happened since the last sample is
// the level's to show. Safe for concurrent use.
type shelf struct {
	mu   sync.Mutex
	kept map[curveKey]keptCurve
}

type keptCurve struct {
	to      time.Time
	samples []farm.Sample // never changed once kept
}

// maxCurves bounds the shelf; a farm of 200 zones fits.
const maxCurves = 2048

// samples gives the stretch of length back that ends with the step now is in.
func (s *shelf) samples(ctx context.Context, h Curves, k curveKey, now time.Time, back time.Duration) ([]farm.Sample, error) {
	to := now.Truncate(k.step).Add(k.step)
	if got, ok := s.get(k, to); ok {
		return got, nil
	}
	got, err := h.Samples(ctx, k.bin, k.zone, k.q, to.Add(-back), to, k.step)
	if err != nil {
		return nil, err
	}
	s.put(k, keptCurve{to: to, samples: got})
	return got, nil
}

func (s *shelf) get(k curveKey, to time.Time) ([]farm.Sample, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	c, ok := s.kept[k]
	return c.samples, ok && c.to.Equal(to)
}

func (s *shelf) put(k curveKey, c keptCurve) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.kept == nil || len(s.kept) >= maxCurves {
		s.kept = make(map[curveKey]keptCurve)
	}
	s.kept[k] = c
}
