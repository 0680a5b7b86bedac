package journal

import (
	"math"

	"binwatchd/internal/farm"
)

// wideCode is the code of a number that stands in the column of wide ones, bit
// by bit, because its guess was no use.
const wideCode = 0

const maxDecimals = 6

// powers are exact in floating point, so that m/powers[k] is the number nearest
// to the decimal m·10^-k: the one that a parser makes of its text.
var powers = [maxDecimals + 1]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6}

// decimalsOf is the fewest decimals that tell every number of a series that can
// be told in decimals at all.
func decimalsOf(rows []row) uint64 {
	k := uint64(0)
	for _, r := range rows {
		for d := k; d <= maxDecimals; d++ {
			if _, ok := mantissa(r.raw, d); ok {
				k = d
				break
			}
		}
	}
	return k
}

// mantissa is the whole number m with m·10^-places the very number v.
func mantissa(v float64, places uint64) (m int64, ok bool) {
	f := math.Round(v * powers[places])
	if !(math.Abs(f) < 1<<53) {
		return 0, false
	}
	m = int64(f)
	return m, math.Float64bits(float64(m)/powers[places]) == math.Float64bits(v)
}

// decimal tells the numbers of a series as steps from one to the next.
type decimal struct {
	places uint64
	was    int64
}

func (d *decimal) write(out, wide *column, v float64) {
	m, ok := mantissa(v, d.places)
	if !ok {
		out.put(wideCode)
		wide.putWide(math.Float64bits(v))
		return
	}
	out.put(zigzag(m-d.was) + 1)
	d.was = m
}

func (d *decimal) read(in, wide *cursor) float64 {
	code := in.next()
	if code == wideCode {
		return math.Float64frombits(wide.wide())
	}
	d.was += unzigzag(code - 1)
	return float64(d.was) / powers[d.places]
}

// known is the code of a value that was already seen with the same raw number.
const known = 1

// maxUlps bounds a guess that is off by so many units in the last place that
// telling them would not be shorter than the number.
const maxUlps = 1 << 40

// curve guesses values from raw numbers. Between them stands a calibration that
// the journal does not know, but it is the same line over long stretches: the
// line through the last two points misses by a few units in the last place.
type curve struct {
	values map[uint64]uint64 // raw → value, bits
	a, b   point             // the last two different points
}

type point struct{ raw, value float64 }

func newCurve() curve { return curve{values: map[uint64]uint64{}} }

func (c *curve) write(out, wide *column, raw, value float64) {
	bits := math.Float64bits(value)
	if v, ok := c.values[math.Float64bits(raw)]; ok && v == bits {
		out.put(known)
		return
	}
	off := int64(bits - math.Float64bits(c.guess(raw)))
	if off < -maxUlps || off > maxUlps {
		out.put(wideCode)
		wide.putWide(bits)
	} else {
		out.put(zigzag(off) + 2)
	}
	c.learn(raw, value)
}

func (c *curve) read(in, wide *cursor, raw float64) float64 {
	var value float64
	switch code := in.next(); code {
	case known:
		return math.Float64frombits(c.values[math.Float64bits(raw)])
	case wideCode:
		value = math.Float64frombits(wide.wide())
	default:
		value = math.Float64frombits(math.Float64bits(c.guess(raw)) + uint64(unzigzag(code-2)))
	}
	c.learn(raw, value)
	return value
}

// guess lays a line through the last two points. The conversions keep the
// compiler from fusing product and sum on machines that can, where the result
// would differ in its last bit from that of the machine that packed. What is not
// a number has other bits on other machines, so it is never a guess.
func (c *curve) guess(raw float64) float64 {
	run := c.b.raw - c.a.raw
	if run == 0 {
		return c.b.value
	}
	slope := float64((c.b.value - c.a.value) / run)
	g := c.b.value + float64(slope*float64(raw-c.b.raw))
	if math.IsNaN(g) {
		return 0
	}
	return g
}

func (c *curve) learn(raw, value float64) {
	c.values[math.Float64bits(raw)] = math.Float64bits(value)
	if raw != c.b.raw && farm.Finite(raw) && farm.Finite(value) {
		c.a, c.b = c.b, point{raw, value}
	}
}
