// Package columns holds numbers packed in columns of bytes, and what they are told
// against: the form that journal packs readings in, and that oldchunk reads.
package columns

import (
	"encoding/binary"
	"errors"
	"math"
)

// ErrShort says that a column has ended before its last number.
var ErrShort = errors.New("packed numbers end too early")

// A Codec passes numbers through columns of variable-length integers (LEB128, as
// encoding/binary writes them). When it packs, it appends each number that it is
// given to a column and gives it back; when it unpacks, it ignores what it is given
// and returns the next number of the column. A format is therefore one function for
// both directions. After the first fault it gives zeros, and Err tells.
type Codec struct {
	Unpacking bool
	Cols      [][]byte
	Err       error
}

// Uint passes an unsigned number.
func (c *Codec) Uint(col int, u uint64) uint64 {
	if !c.Unpacking {
		c.Cols[col] = binary.AppendUvarint(c.Cols[col], u)
		return u
	}
	u, n := binary.Uvarint(c.Cols[col])
	if n <= 0 {
		c.Fail(ErrShort)
		return 0
	}
	c.Cols[col] = c.Cols[col][n:]
	return u
}

// Int passes a signed number, so folded that small ones of either sign are short.
func (c *Codec) Int(col int, v int64) int64 { return Unzigzag(c.Uint(col, zigzag(v))) }

// Step passes a signed number that is told or, as 0, is not.
func (c *Codec) Step(col int, v int64, told bool) (int64, bool) {
	code := uint64(0)
	if told {
		code = zigzag(v) + 1
	}
	code = c.Uint(col, code)
	return Unzigzag(code - 1), code != 0
}

// Float passes a number of eight bytes, every bit of it.
func (c *Codec) Float(col int, v float64) float64 {
	if !c.Unpacking {
		c.Cols[col] = binary.LittleEndian.AppendUint64(c.Cols[col], math.Float64bits(v))
		return v
	}
	if b := c.Take(col, 8); len(b) == 8 {
		return math.Float64frombits(binary.LittleEndian.Uint64(b))
	}
	return 0
}

// Take cuts the next n bytes off a column.
func (c *Codec) Take(col int, n uint64) []byte {
	if n > uint64(len(c.Cols[col])) {
		c.Fail(ErrShort)
		return nil
	}
	b := c.Cols[col][:n]
	c.Cols[col] = c.Cols[col][n:]
	return b
}

// Fail ends all columns and keeps the first fault.
func (c *Codec) Fail(err error) {
	clear(c.Cols)
	if c.Err == nil {
		c.Err = err
	}
}

// zigzag folds 0, -1, 1, -2 … to 0, 1, 2, 3 …
func zigzag(v int64) uint64 { return uint64(v<<1) ^ uint64(v>>63) }

// Unzigzag unfolds what stands for a signed number.
func Unzigzag(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }

// MaxDecimals is the most that a number is told in.
const MaxDecimals = 6

// Powers are exact in floating point, so that m/Powers[k] is the number nearest
// to the decimal m·10^-k: the one that a parser makes of its text.
var Powers = [MaxDecimals + 1]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6}

// A Line runs through the last two points whose raw numbers differ. Between raw
// numbers and values stands a calibration that nobody here knows, but it is the same
// line over long stretches.
type Line [2]struct{ raw, value float64 }

// Add moves the line on to a point.
func (l *Line) Add(raw, value float64) {
	if raw != l[1].raw && finite(raw) && finite(value) {
		l[0], l[1].raw, l[1].value = l[1], raw, value
	}
}

func finite(v float64) bool { return v-v == 0 }

// At gives the value of a raw number on the line. The conversions keep the
// compiler from fusing product and sum on machines that can, where the result
// would differ in its last bit from that of the machine that packed. What is not
// a number has other bits on other machines, so it is never given.
func (l *Line) At(raw float64) float64 {
	a, b := l[0], l[1]
	run := b.raw - a.raw
	if run == 0 {
		return b.value
	}
	slope := float64((b.value - a.value) / run)
	if v := b.value + float64(slope*float64(raw-b.raw)); !math.IsNaN(v) {
		return v
	}
	return 0
}
