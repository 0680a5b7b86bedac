package journal

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"math"
	"slices"

	"github.com/klauspost/compress/zstd"

	"binwatchd/internal/farm"
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
	period   int64    // usual time between two rows, ms
	decimals uint64   // the fewest that tell every raw number that can be told in decimals at all
	arrived  int64    // of the row before, ms
	at       int64    // of the row before, ms
	mantissa int64    // of the last raw number told in decimals
	line     [2]point // the last two with different raw numbers
}

type point struct{ raw, value float64 }

// pack turns rows, by rising sequence number, into a chunk's body: one column for
// each part of a row, each number told as the difference from what is predicted,
// then compressed. Probes speak at a steady pace, and what they measure moves by
// small steps, so that nearly all differences are small. Nothing is lost: unpack
// gives back every bit.
func pack(rows []row) ([]byte, error) {
	all := predictorsOf(rows)
	c := &codec{cols: make([][]byte, columnCount)}
	index := map[int64]int{}
	for i, p := range all {
		index[p.series] = i
	}
	c.head(len(rows), all)
	var last row
	for _, r := range rows {
		k := index[r.series]
		c.uint(colSeries, uint64(k))
		last = all[k].pass(c, last, r)
	}
	for _, col := range c.cols[colHead+1:] {
		c.uint(colHead, uint64(len(col)))
	}
	return compress(c.cols...)
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
	c := &codec{unpacking: true, cols: make([][]byte, columnCount)}
	c.cols[colHead] = plain
	n, all := c.head(0, nil)
	var lengths [columnCount]uint64
	for i := range lengths[colHead+1:] {
		lengths[colHead+1+i] = c.uint(colHead, 0)
	}
	for i := colHead + 1; i < columnCount; i++ {
		c.cols[i] = c.take(colHead, lengths[i])
	}
	if n > len(c.cols[colSeq]) && c.err == nil { // a row takes a byte there at least
		return nil, fmt.Errorf("%w: chunk of %d rows", ErrDamaged, n)
	}
	rows := make([]row, 0, min(n, len(c.cols[colSeq])))
	var last row
	for range n {
		k := c.uint(colSeries, 0)
		if c.err != nil {
			break
		}
		if k >= uint64(len(all)) {
			return nil, fmt.Errorf("%w: packed reading of an unlisted series", ErrDamaged)
		}
		last = all[k].pass(c, last, row{series: all[k].series})
		rows = append(rows, last)
	}
	return rows, c.err
}

func unpackOld(plain []byte) ([]row, error) {
	old, err := oldchunk.Rows(plain)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	rows := make([]row, len(old))
	for i, r := range old {
		rows[i] = row{seq: r.Seq, arrived: r.Arrived, series: r.Series, stamp: r.Stamp, raw: r.Raw, value: r.Value, marks: r.Marks}
	}
	return rows, nil
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
		for d := p.decimals; d <= maxDecimals; d++ {
			if _, ok := mantissa(r.raw, d); ok {
				p.decimals = d
				break
			}
		}
	}
	var all []*predictor
	for id, p := range of {
		p.arrived = 0
		if g := gaps[id]; len(g) > 0 {
			slices.Sort(g)
			p.period = g[len(g)/2]
		}
		all = append(all, p)
	}
	slices.SortFunc(all, func(a, b *predictor) int { return cmp.Compare(a.series, b.series) })
	return all
}

// head passes the head but for the lengths at its end.
func (c *codec) head(n int, all []*predictor) (int, []*predictor) {
	if v := c.uint(colHead, packingVersion); v != packingVersion && c.err == nil {
		c.fail()
		c.err = fmt.Errorf("%w: packed in unknown form %d", ErrDamaged, v)
	}
	n = int(min(c.uint(colHead, uint64(n)), math.MaxInt32))
	count := c.uint(colHead, uint64(len(all)))
	for i := uint64(0); i < count && c.err == nil; i++ {
		if c.unpacking {
			all = append(all, &predictor{})
		}
		p := all[i]
		p.series = int64(c.uint(colHead, uint64(p.series)))
		p.period = c.int(colHead, p.period)
		p.decimals = min(c.uint(colHead, p.decimals), maxDecimals)
	}
	return n, all
}

// pass passes the next row of the series.
func (p *predictor) pass(c *codec, last, r row) row {
	r.seq = last.seq + 1 + c.int(colSeq, r.seq-last.seq-1)
	r.arrived = c.time(colArrived, r.arrived, last.arrived, p.arrived+p.period)
	r.marks = int64(c.uint(colMarks, uint64(r.marks)))
	if r.series != tickSeries {
		if r.marks&markStamped != 0 {
			r.stamp = c.time(colAt, r.at(), last.at(), p.at+p.period) - r.arrived
		} else {
			r.stamp = c.int(colAt, r.stamp)
		}
		r.raw = p.passRaw(c, r.raw)
		r.value = p.passValue(c, r)
	}
	p.arrived, p.at = r.arrived, r.at()
	return r
}

// time passes a time, in ms. What one message has brought arrives at the same time.
func (c *codec) time(col int, t, last, predicted int64) int64 {
	step, told := c.step(col, t-predicted, t != last)
	if !told {
		return last
	}
	return predicted + step
}

func (p *predictor) passRaw(c *codec, raw float64) float64 {
	m, ok := mantissa(raw, p.decimals)
	step, told := c.step(colRaw, m-p.mantissa, ok)
	if !told {
		return math.Float64frombits(c.bits(colWide, math.Float64bits(raw)))
	}
	p.mantissa += step
	return float64(p.mantissa) / powers[p.decimals]
}

// passValue passes a value that differs from its raw number. Between them stands a
// calibration that the journal does not know, but it is the same line over long
// stretches: the line through the last two points misses by a few units in the last
// place.
func (p *predictor) passValue(c *codec, r row) float64 {
	if r.marks&markConverted == 0 {
		return r.raw
	}
	predicted, bits := math.Float64bits(p.onLine(r.raw)), math.Float64bits(r.value)
	off := int64(bits - predicted)
	if off, told := c.step(colValue, off, -maxUlps <= off && off <= maxUlps); told {
		bits = predicted + uint64(off)
	} else {
		bits = c.bits(colWide, bits)
	}
	value := math.Float64frombits(bits)
	if r.raw != p.line[1].raw && farm.Finite(r.raw) && farm.Finite(value) {
		p.line[0], p.line[1] = p.line[1], point{r.raw, value}
	}
	return value
}

// onLine lays a line through the last two points. The conversions keep the
// compiler from fusing product and sum on machines that can, where the result
// would differ in its last bit from that of the machine that packed. What is not
// a number has other bits on other machines, so it is never predicted.
func (p *predictor) onLine(raw float64) float64 {
	a, b := p.line[0], p.line[1]
	run := b.raw - a.raw
	if run == 0 {
		return b.value
	}
	slope := float64((b.value - a.value) / run)
	if g := b.value + float64(slope*float64(raw-b.raw)); !math.IsNaN(g) {
		return g
	}
	return 0
}

// A codec passes numbers through columns of variable-length integers (LEB128, as
// encoding/binary writes them). When it packs, it appends each number that it is
// given to a column and gives it back; when it unpacks, it ignores what it is given
// and returns the next number of the column. A format is therefore one function for
// both directions. After the first fault it gives zeros, and err tells.
type codec struct {
	unpacking bool
	cols      [][]byte
	err       error
}

// uint passes an unsigned number.
func (c *codec) uint(col int, u uint64) uint64 {
	if !c.unpacking {
		c.cols[col] = binary.AppendUvarint(c.cols[col], u)
		return u
	}
	u, n := binary.Uvarint(c.cols[col])
	if n <= 0 {
		c.fail()
		return 0
	}
	c.cols[col] = c.cols[col][n:]
	return u
}

// int passes a signed number, so folded that small ones of either sign are short.
func (c *codec) int(col int, v int64) int64 { return unzigzag(c.uint(col, zigzag(v))) }

// step passes a signed number that is told or, as 0, is not.
func (c *codec) step(col int, v int64, told bool) (int64, bool) {
	code := uint64(0)
	if told {
		code = zigzag(v) + 1
	}
	code = c.uint(col, code)
	return unzigzag(code - 1), code != 0
}

// bits passes a number of eight bytes.
func (c *codec) bits(col int, u uint64) uint64 {
	if !c.unpacking {
		c.cols[col] = binary.LittleEndian.AppendUint64(c.cols[col], u)
		return u
	}
	if len(c.cols[col]) < 8 {
		c.fail()
		return 0
	}
	u = binary.LittleEndian.Uint64(c.cols[col])
	c.cols[col] = c.cols[col][8:]
	return u
}

// take cuts the next n bytes off a column.
func (c *codec) take(col int, n uint64) []byte {
	if n > uint64(len(c.cols[col])) {
		c.fail()
		return nil
	}
	b := c.cols[col][:n]
	c.cols[col] = c.cols[col][n:]
	return b
}

func (c *codec) fail() {
	clear(c.cols)
	if c.err == nil {
		c.err = fmt.Errorf("%w: packed numbers end too early", ErrDamaged)
	}
}

// zigzag folds 0, -1, 1, -2 … to 0, 1, 2, 3 …
func zigzag(v int64) uint64 { return uint64(v<<1) ^ uint64(v>>63) }

func unzigzag(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }

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

const maxDecimals = 6

// powers are exact in floating point, so that m/powers[k] is the number nearest
// to the decimal m·10^-k: the one that a parser makes of its text.
var powers = [maxDecimals + 1]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6}

// mantissa is the whole number m with m·10^-places the very number v.
func mantissa(v float64, places uint64) (m int64, ok bool) {
	f := math.Round(v * powers[places])
	if !(math.Abs(f) < 1<<53) {
		return 0, false
	}
	m = int64(f)
	return m, math.Float64bits(float64(m)/powers[places]) == math.Float64bits(v)
}
