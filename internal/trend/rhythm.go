package trend

import (
	"math"
	"slices"
	"time"
)

const (
	rhythmGaps  = 8    // the newest gaps that count
	rhythmLeast = 4    // fewer gaps are no rhythm
	rhythmSide  = 1.45 // ends of the interval this many times off the middle are no rhythm any more
	rhythmGrain = 0.5  // days: a keeper comes in the morning or in the evening
	rhythmShift = 1.4  // times longer or shorter: the rhythm has shifted
	rhythmNew   = 3    // gaps in a row that make a shift
)

// A Rhythm is what comes back after about so long.
type Rhythm struct {
	Every       time.Duration // the middle of its gaps
	Early, Late time.Duration // ends of an 80 % interval of the next gap
	Gaps        int           // it is drawn from
	Was         time.Duration // the middle of the gaps before it shifted; 0: it has not
}

// RhythmOf finds the rhythm of some acts by their times, oldest first. Gaps vary in
// proportion, so their logarithms are looked at: the middle is the median's, the interval
// that of a next one drawn from the same normal distribution (Student's t, for there are
// few), no narrower than half a day either way. ok is false for fewer than five acts,
// and where the interval is so wide that nobody would call it a rhythm: somebody who
// comes when it strikes him has none.
func RhythmOf(times []time.Time) (r Rhythm, ok bool) {
	var gaps []float64 // days
	for i := 1; i < len(times); i++ {
		gaps = append(gaps, times[i].Sub(times[i-1]).Hours()/24)
	}
	gaps = gaps[max(0, len(gaps)-rhythmGaps):]
	if len(gaps) < rhythmLeast || slices.Min(gaps) <= 0 {
		return r, false
	}
	if n := len(gaps) - rhythmNew; n >= rhythmNew {
		was, is := Median(gaps[:n]), Median(gaps[n:])
		longer := is >= rhythmShift*was && slices.Min(gaps[n:]) > slices.Max(gaps[:n])
		shorter := was >= rhythmShift*is && slices.Max(gaps[n:]) < slices.Min(gaps[:n])
		if longer || shorter {
			r.Was, gaps = daysLong(was), gaps[n:]
		}
	}
	gaps = withoutHoliday(gaps)
	n := float64(len(gaps))
	middle, variance := Median(gaps), 0.0
	for _, g := range gaps {
		off := math.Log(g / middle)
		variance += off * off / (n - 1)
	}
	off := student90(len(gaps)-1) * math.Sqrt(variance*(1+1/n))
	early, late := middle*math.Exp(-off), middle*math.Exp(off)
	if late > rhythmSide*middle+rhythmGrain {
		return r, false
	}
	r.Every, r.Gaps = daysLong(middle), len(gaps)
	r.Early, r.Late = daysLong(max(0, min(early, middle-rhythmGrain))), daysLong(max(late, middle+rhythmGrain))
	return r, true
}

// withoutHoliday leaves out the one gap in which a keeper may have been away, where enough
// are left.
func withoutHoliday(gaps []float64) []float64 {
	const away = 1.8 // times the middle
	longest := slices.Max(gaps)
	if len(gaps) <= rhythmLeast || longest < away*Median(gaps) {
		return gaps
	}
	i := slices.Index(gaps, longest)
	return slices.Delete(slices.Clone(gaps), i, i+1)
}

func daysLong(d float64) time.Duration { return time.Duration(d * 24 * float64(time.Hour)) }

// student90 is the quantile 0.9 of Student's t with so many degrees of freedom, from the
// tables (Abramowitz & Stegun 1964, table 26.10).
func student90(freedom int) float64 {
	t := [...]float64{0, 3.078, 1.886, 1.638, 1.533, 1.476, 1.440, 1.415}
	return t[min(max(freedom, 1), len(t)-1)]
}
