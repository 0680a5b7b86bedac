package journal

import (
	"encoding/binary"
	"fmt"
	"math"

	"github.com/klauspost/compress/zstd"

	"binwatchd/internal/journal/oldchunk"
)

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
	d, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true), zstd.WithDecoderMaxMemory(maxPlainBytes))
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
