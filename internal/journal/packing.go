package journal

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"github.com/klauspost/compress/zstd"

	"binwatchd/internal/journal/columns"
	"binwatchd/internal/journal/oldchunk"
)

// A chunk's body is nine frames of Zstandard, one for each column, with the head
// first. Unfolded and in one piece it is the head, then the columns in the order
// below, whose lengths stand at the end of the head. All numbers but those of
// colWide are LEB128, signed ones in zig-zag.
//
// Against the form of schema 2 (see oldchunk) it was measured on one machine
// (BenchmarkWear with 20 probes each minute; and a chunk of 32768 rows, twenty times
// over): 2.12 bytes kept a reading instead of 2.05; 386 bytes written a reading, as
// before; 9 to 21 ms for packing a chunk instead of 40 to 55; at the peak 7 to 13 MB
// of memory instead of 13 to 14, of which nothing stays.

// packingVersion is the first number of a packed chunk.
const packingVersion = 2

// The columns of a chunk, in their order.
const (
	colHead    = iota // version, number of rows, the series, lengths of the other columns
	colSeq            // how many sequence numbers are left out before the row
	colSeries         // index among the series of the head
	colArrived        // 0: as the row before; else one more than the difference from what is predicted
	colAt             // the same where a device stamps, else the difference from the arrival
	colMarks
	colRaw   // 0: in colWide; else one more than the step from the series' last one, in its decimals
	colValue // 0: in colWide; else one more than how far it is from the predicted line, in units in the last place
	colWide  // numbers that can't be told as a difference, eight bytes each
	columnCount
)

// maxUlps bounds a prediction that is off by so many units in the last place that
// telling them would not be shorter than the number.
const maxUlps = 1 << 40

// A predictor is what the rows of one series are told against. Who packs and who
// unpacks run the same one, so that what it learns need not be told.
type predictor struct {
	series   int64
	period   int64  // usual time between two rows, ms
	decimals uint64 // the fewest that tell every raw number that can be told in decimals at all
	arrived  int64  // of the row before, ms
	at       int64  // of the row before, ms
	mantissa int64  // of the last raw number told in decimals
	line     columns.Line
}

// pack turns rows, by rising sequence number, into a chunk's body: one column for
// each part of a row, each number told as the difference from what is predicted,
// then compressed. Probes speak at a steady pace, and what they measure moves by
// small steps, so that nearly all differences are small. Nothing is lost: unpack
// gives back every bit.
func pack(rows []row) ([]byte, error) {
	all := predictorsOf(rows)
	c := &columns.Codec{Cols: make([][]byte, columnCount)}
	index := map[int64]int{}
	for i, p := range all {
		index[p.series] = i
	}
	passHead(c, len(rows), all)
	var last row
	for _, r := range rows {
		k := index[r.series]
		c.Uint(colSeries, uint64(k))
		last = all[k].pass(c, last, r)
	}
	for _, col := range c.Cols[colHead+1:] {
		c.Uint(colHead, uint64(len(col)))
	}
	return compress(c.Cols...)
}

// unpack gives back the rows that pack was given, by this version or an older one;
// or ErrDamaged.
func unpack(body []byte) ([]row, error) {
	plain, err := decompress(body)
	if err != nil {
		return nil, err
	}
	return unpackPlain(plain)
}

// unpackPlain must bear any bytes.
func unpackPlain(plain []byte) ([]row, error) {
	if len(plain) > 0 && plain[0] == oldchunk.Version {
		return unpackOld(plain)
	}
	c := &columns.Codec{Unpacking: true, Cols: make([][]byte, columnCount)}
	c.Cols[colHead] = plain
	n, all := passHead(c, 0, nil)
	var lengths [columnCount]uint64
	for i := colHead + 1; i < columnCount; i++ {
		lengths[i] = c.Uint(colHead, 0)
	}
	for i := colHead + 1; i < columnCount; i++ {
		c.Cols[i] = c.Take(colHead, lengths[i])
	}
	if n > len(c.Cols[colSeq]) { // a row takes a byte there at least
		c.Fail(fmt.Errorf("chunk of %d rows", n))
	}
	rows := make([]row, 0, min(n, len(plain)))
	var last row
	for c.Err == nil && len(rows) < n {
		k := c.Uint(colSeries, 0)
		if k >= uint64(len(all)) {
			c.Fail(errors.New("packed reading of an unlisted series"))
			break
		}
		last = all[k].pass(c, last, row{series: all[k].series})
		rows = append(rows, last)
	}
	return rows, damaged(c.Err)
}

func unpackOld(plain []byte) ([]row, error) {
	old, err := oldchunk.Rows(plain)
	rows := make([]row, len(old))
	for i, r := range old {
		rows[i] = row{seq: r.Seq, arrived: r.Arrived, series: r.Series, stamp: r.Stamp, raw: r.Raw, value: r.Value, marks: r.Marks}
	}
	return rows, damaged(err)
}

// predictorsOf makes the predictors of a chunk's rows, by rising series.
func predictorsOf(rows []row) []*predictor {
	of := map[int64]*predictor{}
	gaps := map[int64][]int64{}
	for _, r := range rows {
		p := of[r.series]
		if p == nil {
			p = &predictor{series: r.series}
			of[r.series] = p
		} else {
			gaps[r.series] = append(gaps[r.series], r.arrived-p.arrived)
		}
		p.arrived = r.arrived
		for d := p.decimals; d <= columns.MaxDecimals; d++ {
			if _, ok := mantissa(r.raw, d); ok {
				p.decimals = d
				break
			}
		}
	}
	all := slices.SortedFunc(maps.Values(of), func(a, b *predictor) int { return cmp.Compare(a.series, b.series) })
	for _, p := range all {
		p.arrived = 0
		if g := gaps[p.series]; len(g) > 0 {
			slices.Sort(g)
			p.period = g[len(g)/2]
		}
	}
	return all
}

// passHead passes the head but for the lengths at its end.
func passHead(c *columns.Codec, n int, all []*predictor) (int, []*predictor) {
	if v := c.Uint(colHead, packingVersion); v != packingVersion {
		c.Fail(fmt.Errorf("packed in unknown form %d", v))
	}
	n = int(min(c.Uint(colHead, uint64(n)), math.MaxInt32))
	count := c.Uint(colHead, uint64(len(all)))
	for i := uint64(0); i < count && c.Err == nil; i++ {
		if c.Unpacking {
			all = append(all, &predictor{})
		}
		p := all[i]
		p.series = int64(c.Uint(colHead, uint64(p.series)))
		p.period = c.Int(colHead, p.period)
		p.decimals = min(c.Uint(colHead, p.decimals), columns.MaxDecimals)
	}
	return n, all
}

// pass passes the next row of the series.
func (p *predictor) pass(c *columns.Codec, last, r row) row {
	r.seq = last.seq + 1 + c.Int(colSeq, r.seq-last.seq-1)
	r.arrived = passTime(c, colArrived, r.arrived, last.arrived, p.arrived+p.period)
	r.marks = int64(c.Uint(colMarks, uint64(r.marks)))
	if r.series != tickSeries {
		if r.marks&markStamped != 0 {
			r.stamp = passTime(c, colAt, r.at(), last.at(), p.at+p.period) - r.arrived
		} else {
			r.stamp = c.Int(colAt, r.stamp)
		}
		r.raw = p.passRaw(c, r.raw)
		r.value = p.passValue(c, r)
	}
	p.arrived, p.at = r.arrived, r.at()
	return r
}

// passTime passes a time, in ms. What one message has brought arrives at the same time.
func passTime(c *columns.Codec, col int, t, last, predicted int64) int64 {
	step, told := c.Step(col, t-predicted, t != last)
	if !told {
		return last
	}
	return predicted + step
}

func (p *predictor) passRaw(c *columns.Codec, raw float64) float64 {
	m, ok := mantissa(raw, p.decimals)
	step, told := c.Step(colRaw, m-p.mantissa, ok)
	if !told {
		return c.Float(colWide, raw)
	}
	p.mantissa += step
	return float64(p.mantissa) / columns.Powers[p.decimals]
}

// passValue passes a value that differs from its raw number. Between them stands a
// calibration that the journal does not know, but it is the same line over long
// stretches: the line through the last two points misses by a few units in the last
// place.
func (p *predictor) passValue(c *columns.Codec, r row) float64 {
	if r.marks&markConverted == 0 {
		return r.raw
	}
	predicted := math.Float64bits(p.line.At(r.raw))
	off := int64(math.Float64bits(r.value) - predicted)
	off, told := c.Step(colValue, off, -maxUlps <= off && off <= maxUlps)
	value := math.Float64frombits(predicted + uint64(off))
	if !told {
		value = c.Float(colWide, r.value)
	}
	p.line.Add(r.raw, value)
	return value
}

// Each part that compress is given becomes a frame of its own, since each has its
// own distribution of bytes. A frame ends in a check sum: SQLite has none, and a
// card may give back other bits than it was given. The encoder is made anew each
// time and needs about 1 MB for that moment; nothing of it stays.
const (
	windowBytes   = 64 << 10
	maxPlainBytes = 64 << 20 // bounds what a damaged body may unfold to
)

// compress writes the parts, one after the other, as frames of Zstandard.
func compress(parts ...[]byte) ([]byte, error) {
	e, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1),
		zstd.WithLowerEncoderMem(true), zstd.WithWindowSize(windowBytes), zstd.WithAllLitEntropyCompression(true))
	if err != nil {
		return nil, fmt.Errorf("compress: %w", err)
	}
	var out []byte
	for _, part := range parts {
		out = e.EncodeAll(part, out)
	}
	return out, e.Close()
}

// decompress gives back the parts that compress was given, as one, also of a body
// that an older version made; or ErrDamaged.
func decompress(body []byte) ([]byte, error) {
	d, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true),
		zstd.WithDecoderMaxMemory(maxPlainBytes))
	if err != nil {
		return nil, fmt.Errorf("decompress: %w", err)
	}
	defer d.Close()
	plain, err := d.DecodeAll(body, nil)
	if err == nil && len(body) > 0 {
		return plain, nil
	}
	// An older body begins with a check sum, which may by chance look like a frame.
	if old, oldErr := oldchunk.Inflate(body); oldErr == nil {
		return old, nil
	}
	return nil, fmt.Errorf("%w: decompress: %w", ErrDamaged, err)
}

// mantissa is the whole number m with m·10^-places the very number v.
func mantissa(v float64, places uint64) (m int64, ok bool) {
	f := math.Round(v * columns.Powers[places])
	if !(math.Abs(f) < 1<<53) {
		return 0, false
	}
	m = int64(f)
	return m, math.Float64bits(float64(m)/columns.Powers[places]) == math.Float64bits(v)
}
