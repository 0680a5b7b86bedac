package journal

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal/columns"
)

const (
	hourMs = int64(time.Hour / time.Millisecond)
	dayMs  = 24 * hourMs
)

// resolution is how many steps of the history make one °C, % or V. Sums of
// whole steps can be added in any order with the same result, so it never
// matters in which portions readings are packed.
func resolution(q farm.Quantity) float64 {
	if q == farm.Battery {
		return 1000
	}
	return 100
}

// A summary is of a number of values, in steps.
type summary struct{ n, sum, min, max int64 }

// add adds a value; one that no probe can mean is left out.
func (s *summary) add(v float64, q farm.Quantity) {
	if math.Abs(v) < 1e9 {
		n := int64(math.Round(v * resolution(q)))
		s.merge(summary{1, n, n, n})
	}
}

func (s *summary) merge(o summary) {
	switch {
	case o.n == 0:
	case s.n == 0:
		*s = o
	default:
		*s = summary{s.n + o.n, s.sum + o.sum, min(s.min, o.min), max(s.max, o.max)}
	}
}

// sample gives the summary in the quantity's unit.
func (s summary) sample(at int64, q farm.Quantity) farm.Sample {
	r := resolution(q)
	return farm.Sample{
		At: instant(at), N: s.n,
		Min: float64(s.min) / r, Max: float64(s.max) / r,
		Mean: float64(s.sum) / float64(s.n) / r,
	}
}

// A day is the history of one series on one UTC day, by hour.
type day [24]summary

func (d *day) whole() (s summary) {
	for _, h := range d {
		s.merge(h)
	}
	return s
}

// pass passes the hours that have values: which, then for each its number, how
// its sum differs from the hour before's mean, and how far its ends are from its
// own mean. All are small, mostly one byte.
func (d *day) pass(c *columns.Codec) {
	var which uint64
	for h, s := range d {
		if s.n > 0 {
			which |= 1 << h
		}
	}
	which = c.Uint(0, which)
	was := int64(0)
	for h := range d {
		if which>>h&1 == 0 {
			continue
		}
		s := d[h]
		n := int64(c.Uint(0, uint64(s.n)))
		if n < 1 {
			c.Fail(columns.ErrShort)
			return
		}
		sum := n*was + c.Int(0, s.sum-n*was)
		mean := floorDiv(sum, n)
		below, above := c.Uint(0, uint64(mean-s.min)), c.Uint(0, uint64(s.max-mean))
		d[h] = summary{n, sum, mean - int64(below), mean + int64(above)}
		was = mean
	}
}

func decodeDay(b []byte) (d day, err error) {
	c := &columns.Codec{Unpacking: true, Cols: [][]byte{b}}
	d.pass(c)
	return d, damaged(c.Err)
}

// floorDiv rounds toward less, so that a mean is never under the least value.
func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// dayOf and hourOf place a time of milliseconds, before 1970 as well.
func dayOf(ms int64) int64 { return floorDiv(ms, dayMs) }

func hourOf(ms int64) int { return int((ms - dayOf(ms)*dayMs) / hourMs) }

// seriesDay names one day of one series.
type seriesDay struct{ series, day int64 }

// days gathers what is to be written into the history.
type days map[seriesDay]*day

// add puts a row into its hour, if it belongs into a history at all.
func (d days) add(r row, all []series) {
	if !r.judged() || r.series > int64(len(all)) {
		return
	}
	key := seriesDay{r.series, dayOf(r.at())}
	if d[key] == nil {
		d[key] = new(day)
	}
	d[key][hourOf(r.at())].add(r.value, all[r.series-1].quantity)
}

// keys gives the days in the order of the table, so that pages are written in
// order and the same days always write the same bytes.
func (d days) keys() []seriesDay {
	return slices.SortedFunc(maps.Keys(d), func(a, b seriesDay) int {
		return cmp.Or(cmp.Compare(a.series, b.series), cmp.Compare(a.day, b.day))
	})
}

// merge adds the days to those of the file.
func (d days) merge(t *tx) {
	for _, key := range d.keys() {
		var sum day
		var b []byte
		if t.get(into(&b), `SELECT hours FROM history WHERE series = ? AND day = ?`, key.series, key.day) {
			var err error
			sum, err = decodeDay(b)
			t.fail(err)
		}
		for h, s := range d[key] {
			sum[h].merge(s)
		}
		writeDay(t, key, sum)
	}
}

// writeDay writes a day in place of the file's; one without values goes.
func writeDay(t *tx, key seriesDay, d day) {
	w := d.whole()
	if w.n == 0 {
		t.exec(`DELETE FROM history WHERE series = ? AND day = ?`, key.series, key.day)
		return
	}
	c := &columns.Codec{Cols: make([][]byte, 1)}
	d.pass(c)
	t.exec(`INSERT OR REPLACE INTO history (series, day, n, sum, min, max, hours) VALUES (?, ?, ?, ?, ?, ?, ?)`,
		key.series, key.day, w.n, w.sum, w.min, w.max, c.Cols[0])
}

// rebuildDays makes the given days anew from the packed readings, after times
// have moved. Readings that Keep has already dropped are not known any more:
// they are left out, which concerns only days at the very end of what is kept.
func rebuildDays(t *tx, wanted map[seriesDay]bool, all []series) {
	fresh := days{}
	touched := map[chunkInfo]bool{}
	for key := range wanted {
		fresh[key] = new(day)
		for _, c := range chunksWithin(t, key.day*dayMs, (key.day+1)*dayMs) {
			touched[c] = true
		}
	}
	for c := range touched {
		for _, r := range readChunk(t, c) {
			if wanted[seriesDay{r.series, dayOf(r.at())}] {
				fresh.add(r, all)
			}
		}
	}
	for _, key := range fresh.keys() {
		writeDay(t, key, *fresh[key])
	}
}
