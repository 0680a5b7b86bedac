// Package trend is the robust statistics of a watch that runs for years on a
// small machine: running medians, slopes, and three forecasts — will this zone
// heat past a limit, when will it be too dry, when can it be sifted.
//
// Everything is a pure function of its arguments, or a small value the caller
// keeps: no clock, no I/O, no goroutine, bounded memory. The values have
// exported fields only (or rebuild the rest), so a snapshot of them by gob or
// JSON is complete. A forecast says nothing when the data say nothing.
// Package rules calls it; it raises nothing by itself. A figure whose comment names
// no source was chosen on simulated bins (package scenariotest).
//
// In reading order: track.go (Series and Track: what is kept of the past),
// probe.go (Window and Pace: a probe's running median, and how often it
// speaks), stats.go (medians, slopes, isotonic regression), crossing.go (when a
// limit is crossed, from weighted guesses); then drying: moisture.go (what the
// days since an opening say), drying.go (drying curves fitted to them), soaking.go (what a watering did); then
// heating: heating.go (the last day of a bin, and the verdict), room.go (what
// the room alone would make of it), selfheating.go (what speaks for heat of its
// own), rise.go (rises fitted to that heat); and weather.go (what is foretold of a room),
// follow.go (where the room takes a bin).
package trend

import (
	"math"
	"slices"
	"time"
)

// empty marks a slot of a Series in which nothing was measured.
const empty = math.MinInt16

// slotParts is how finely the time of a slot's mean is kept: of an hour, 14 s.
const slotParts = 250

// A Series is the means of a quantity over even slots of time, newest Keep
// slots only: °C or % in hundredths, so a fortnight of hours is about a
// kilobyte. Each mean has its true time, the mean of its values' times: a probe
// that speaks once an hour may do so at any minute of it. The zero Series keeps
// nothing; make one with NewSeries.
type Series struct {
	Step  time.Duration
	Keep  int
	First int64   // number of the slot of Centi[0], counted from 1970
	Centi []int16 // means of the slots that are over; empty where nothing came
	When  []uint8 // how far into its slot each mean lies, in slotParts

	Slot   int64 // the slot still open
	Sum    float64
	IntoMS int64 // sum of how far into the slot its values came, ms
	N      int32 // values in it so far
}

// A point is a mean at its true time.
type point struct {
	h float64 // hours from now, not after it
	v float64 // °C or %
}

// NewSeries makes an empty series of keep slots of a step each.
func NewSeries(step time.Duration, keep int) Series { return Series{Step: step, Keep: keep} }

// Add takes in a value. A late one fills a slot that is over only if nothing
// else did. Values beyond ±327 and NaN are not taken.
func (s *Series) Add(t time.Time, v float64) {
	if !(math.Abs(v) < 327) || s.Keep == 0 {
		return
	}
	slot := s.slotOf(t)
	switch {
	case s.N == 0 && len(s.Centi) == 0:
		s.First, s.Slot = slot, slot
	case slot > s.Slot:
		s.close(slot)
	case slot < s.Slot:
		if i := slot - s.First; i >= 0 && s.Centi[i] == empty {
			s.Centi[i] = centi(v)
			s.When[i] = s.part(s.into(t, slot))
		}
		return
	}
	s.Sum += v
	s.IntoMS += s.into(t, slot)
	s.N++
}

// into is how far t lies into a slot, ms.
func (s *Series) into(t time.Time, slot int64) int64 {
	return t.UnixMilli() - slot*s.Step.Milliseconds()
}

// part turns ms into a slot into parts of it.
func (s *Series) part(ms int64) uint8 { return uint8(ms * slotParts / s.Step.Milliseconds()) }

// close ends the open slot and opens another.
func (s *Series) close(next int64) {
	mean, when := int16(empty), uint8(0)
	if s.N > 0 {
		mean, when = centi(s.Sum/float64(s.N)), s.part(s.IntoMS/int64(s.N))
	}
	s.Centi, s.When = append(s.Centi, mean), append(s.When, when)
	for gap := min(next-s.Slot-1, int64(s.Keep)); gap > 0; gap-- {
		s.Centi, s.When = append(s.Centi, empty), append(s.When, 0)
	}
	if over := len(s.Centi) - s.Keep; over > 0 {
		s.Centi, s.When = slices.Delete(s.Centi, 0, over), slices.Delete(s.When, 0, over)
	}
	s.First = next - int64(len(s.Centi))
	s.Slot, s.Sum, s.IntoMS, s.N = next, 0, 0, 0
}

func centi(v float64) int16 { return int16(math.Round(v * 100)) }

func (s *Series) slotOf(t time.Time) int64 {
	return int64(math.Floor(float64(t.UnixMilli()) / float64(s.Step.Milliseconds())))
}

// at gives the mean of a slot, the open one included, or NaN.
func (s *Series) at(slot int64) float64 {
	switch i := slot - s.First; {
	case slot == s.Slot && s.N > 0:
		return s.Sum / float64(s.N)
	case i < 0 || i >= int64(len(s.Centi)) || s.Centi[i] == empty:
		return math.NaN()
	default:
		return float64(s.Centi[i]) / 100
	}
}

// At gives the mean of the slot in which t lies; ok is false when nothing was
// measured in it.
func (s *Series) At(t time.Time) (v float64, ok bool) {
	v = s.at(s.slotOf(t))
	return v, !math.IsNaN(v)
}

// Nearest gives the mean of the slot nearest to t in which something was
// measured; of two as near, the earlier. ok is false when nothing ever was.
func (s *Series) Nearest(t time.Time) (v float64, ok bool) {
	if s.N == 0 && len(s.Centi) == 0 {
		return 0, false
	}
	slot := s.slotOf(t)
	for off := int64(0); off <= max(slot-s.First, s.Slot-slot); off++ {
		for _, at := range []int64{slot - off, slot + off} {
			if v := s.at(at); !math.IsNaN(v) {
				return v, true
			}
		}
	}
	return 0, false
}

// Shift moves what was measured from a moment on by d, to the nearest slot:
// the clock was put right.
func (s *Series) Shift(d time.Duration, from time.Time) {
	if s.Keep == 0 || d == 0 {
		return
	}
	old, first := *s, s.slotOf(from)
	*s = NewSeries(old.Step, old.Keep)
	for _, moved := range []bool{false, true} {
		for slot := old.First; slot <= old.Slot; slot++ {
			if v := old.at(slot); !math.IsNaN(v) && (slot >= first) == moved {
				at := time.UnixMilli(slot * old.Step.Milliseconds()).Add(old.Step / 2)
				if moved {
					at = at.Add(d)
				}
				s.Add(at, v)
			}
		}
	}
}

// last gives the n slots ending with the slot of now, oldest first; NaN where
// nothing was measured.
func (s *Series) last(now time.Time, n int) []float64 {
	out := make([]float64, n)
	end := s.slotOf(now)
	for i := range out {
		out[i] = s.at(end - int64(n-1-i))
	}
	return out
}

// points lists the means from a moment to now, oldest first, at their true times.
func (s *Series) points(from, now time.Time) []point {
	step, nowMS := s.Step.Milliseconds(), now.UnixMilli()
	first, last := max(s.First, s.slotOf(from)), min(s.Slot, s.slotOf(now))
	out := make([]point, 0, max(0, last-first+1))
	add := func(ms int64, v float64) {
		if ms >= from.UnixMilli() && ms <= nowMS {
			out = append(out, point{float64(ms-nowMS) / 3.6e6, v})
		}
	}
	for slot := first; slot <= last && slot < s.Slot; slot++ {
		if i := slot - s.First; s.Centi[i] != empty {
			add(slot*step+int64(s.When[i])*step/slotParts, float64(s.Centi[i])/100)
		}
	}
	if last == s.Slot && s.N > 0 {
		add(s.Slot*step+s.IntoMS/int64(s.N), s.Sum/float64(s.N))
	}
	return out
}

// Clear forgets everything.
func (s *Series) Clear() { s.Centi, s.When, s.Sum, s.IntoMS, s.N = s.Centi[:0], s.When[:0], 0, 0, 0 }

const (
	trackHours = 14 * 24 // hourly means kept
	trackTens  = 24 * 6  // ten-minute means kept
)

// A Track is what the forecasts remember of one quantity of one zone, or of
// the air of a room: hourly means of a fortnight and ten-minute means of a
// day. About a kilobyte, whatever the probe's pace.
type Track struct {
	Hours, Tens Series
	NewestMS    int64   // ms since 1970 of the newest value; 0 before the first
	FreshMS     int64   // ms since 1970: no trend is drawn across this moment
	FedMS       []int64 // ms since 1970 of the newest feeds, oldest first
}

// feedsKept is how many feeds a track remembers: one a day for a fortnight.
const feedsKept = 14

// NewTrack makes an empty track.
func NewTrack() Track {
	return Track{Hours: NewSeries(time.Hour, trackHours), Tens: NewSeries(10*time.Minute, trackTens)}
}

// Add takes in a believed value: °C or % wet basis.
func (k *Track) Add(t time.Time, v float64) {
	k.Hours.Add(t, v)
	k.Tens.Add(t, v)
	k.NewestMS = max(k.NewestMS, t.UnixMilli())
}

// Newest is the time of the newest value; ok is false when there is none.
func (k *Track) Newest() (t time.Time, ok bool) {
	return time.UnixMilli(k.NewestMS).UTC(), k.NewestMS != 0
}

// Restart marks that the zone was opened at t: fed, turned, watered. What was
// before stays known as its usual days, but no trend is drawn across.
func (k *Track) Restart(t time.Time) { k.FreshMS = max(k.FreshMS, t.UnixMilli()) }

// Fed marks that something was given at t that may heat by itself.
func (k *Track) Fed(t time.Time) {
	k.Restart(t)
	k.FedMS = append(k.FedMS, t.UnixMilli())
	slices.Sort(k.FedMS) // it may be told late
	if over := len(k.FedMS) - feedsKept; over > 0 {
		k.FedMS = slices.Delete(k.FedMS, 0, over)
	}
}

// Clear forgets everything: the zone was emptied, or its probe moved.
func (k *Track) Clear() {
	k.Hours.Clear()
	k.Tens.Clear()
	k.NewestMS, k.FreshMS, k.FedMS = 0, 0, nil
}

// freshFor is how long ago the last restart was; a very long time when there
// was none.
func (k *Track) freshFor(now time.Time) time.Duration {
	if k.FreshMS == 0 {
		return 10 * 365 * 24 * time.Hour
	}
	return now.Sub(time.UnixMilli(k.FreshMS))
}
