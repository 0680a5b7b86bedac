// Package oldchunk reads the bodies of packed readings that binwatchd wrote until
// schema 2 of its journal. Nothing writes them any more: the journal packs them
// anew, bit by bit the same, and can't know when the last one is gone.
//
// # Format
//
// A body is a CRC-32C of what follows once it is unfolded (4 bytes, little-endian),
// then DEFLATE (RFC 1951). All numbers are LEB128, signed ones in zig-zag, but for
// the wide ones, which are the 8 bytes of a float. First comes the head: the version
// 1; the number of rows; sequence number and arrival before the first row, signed;
// the number of series, and of each, by rising number: its number; its usual time
// between two rows in ms, signed; and its choices, of which bit 0 says that its
// arrivals are told against its own last one, bit 1 the same of its times of
// measurement, and the rest is the number of decimals of its raw numbers. Then come
// eight columns, each after its length: sequence numbers, series, arrivals, times of
// measurement, marks, raw numbers, values, wide numbers. [Rows] says what they hold.
package oldchunk

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math"
)

// Version is the first number of an unfolded body.
const Version = 1

// A Row is a reading, or a tick of series 0.
type Row struct {
	Seq, Arrived, Series int64 // Arrived in ms since 1970
	Stamp                int64 // time of measurement less arrival, ms
	Raw, Value           float64
	Marks                int64
}

// The marks that shape a row.
const (
	converted = 1 << iota // the value differs from the raw number
	stamped               // the device told the time
)

const (
	maxPlain    = 64 << 20 // bounds what a damaged body may unfold to
	maxDecimals = 6
)

var powers = [maxDecimals + 1]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6}

var errShort = errors.New("packed readings end too early")

// Inflate unfolds a body and checks its sum.
func Inflate(body []byte) ([]byte, error) {
	if len(body) < 4 {
		return nil, fmt.Errorf("%d bytes are too few", len(body))
	}
	plain, err := io.ReadAll(io.LimitReader(flate.NewReader(bytes.NewReader(body[4:])), maxPlain))
	if err != nil {
		return nil, err
	}
	if crc32.Checksum(plain, crc32.MakeTable(crc32.Castagnoli)) != binary.LittleEndian.Uint32(body) {
		return nil, errors.New("check sum differs")
	}
	return plain, nil
}

const (
	colSeq = iota // how many sequence numbers are left out before the row
	colSeries
	colArrived
	colAt
	colMarks
	colRaw
	colValue
	colWide
	columnCount
)

// A chunk is being read; each column from its start.
type chunk struct {
	cols   [columnCount]column
	series []series
	last   Row // the row before
	lane   int // of the row before, in series
}

// A series is what is known of the rows of one probe so far.
type series struct {
	number                int64
	period                int64
	ownArrivals, ownTimes bool
	seen                  bool
	arrived, at           int64 // of the row before
	follower              int   // the series that came after this one last time; -1: none yet
	decimals              uint64
	mantissa              int64 // of the last raw number told in decimals
	values                map[uint64]uint64
	rawA, valueA          float64 // the last but one of the different points
	rawB, valueB          float64 // the last one
}

// Rows reads an unfolded body. It bears any bytes.
//
// Sequence numbers are told less the one before and 1. A series is told as 0 when it
// is the one that followed the same series the last time, else as its index in the
// head, from 1. An arrival is told less that of the row before, or less the series'
// own last one and its usual time; so is a time of measurement where the device has
// told it, else it is told less the arrival. A raw number is told as 1 more than the
// zig-zag step from the last mantissa, or as 0 when it stands among the wide ones. A
// value, only where the marks say that it differs, is 1 when it is that of the last
// row with the same raw number, 0 when it stands among the wide ones, else 2 more
// than the zig-zag difference of its bits from those of the point on the line through
// the last two points whose raw numbers differ. Ticks have neither time, raw nor value.
func Rows(plain []byte) ([]Row, error) {
	in := column{rest: plain}
	if v := in.next(); v != Version && !in.short {
		return nil, fmt.Errorf("packed in unknown form %d", v)
	}
	n := in.next()
	var c chunk
	c.readHead(&in)
	for i := range c.cols {
		c.cols[i].rest = in.take(in.next())
	}
	if in.short {
		return nil, errShort
	}
	if n > uint64(len(c.cols[colSeq].rest)) { // a row takes a byte there at least
		return nil, fmt.Errorf("chunk of %d rows", n)
	}
	rows := make([]Row, 0, n)
	for range n {
		r, err := c.next()
		if err != nil {
			return nil, err
		}
		rows = append(rows, r)
	}
	for _, col := range c.cols {
		if col.short {
			return nil, errShort
		}
	}
	return rows, nil
}

func (c *chunk) readHead(in *column) {
	c.last.Seq, c.last.Arrived = in.signed(), in.signed()
	for n := in.next(); n > 0 && !in.short; n-- {
		s := series{number: int64(in.next()), period: in.signed(), follower: -1, values: map[uint64]uint64{}}
		choices := in.next()
		s.ownArrivals, s.ownTimes, s.decimals = choices&1 != 0, choices&2 != 0, min(choices>>2, maxDecimals)
		c.series = append(c.series, s)
	}
}

func (c *chunk) next() (Row, error) {
	r := Row{Seq: c.last.Seq + 1 + int64(c.cols[colSeq].next())}
	k := int(min(c.cols[colSeries].next(), math.MaxInt32)) - 1
	if k < 0 && len(c.series) > 0 {
		k = c.series[c.lane].follower
	}
	if k < 0 || k >= len(c.series) {
		return r, errors.New("packed reading of an unlisted series")
	}
	s := &c.series[k]
	r.Series = s.number
	r.Arrived = s.predict(s.ownArrivals, s.arrived, c.last.Arrived) + c.cols[colArrived].signed()
	r.Marks = int64(c.cols[colMarks].next())
	if r.Series != 0 {
		at := r.Arrived
		if r.Marks&stamped != 0 {
			at = s.predict(s.ownTimes, s.at, c.last.Arrived+c.last.Stamp)
		}
		r.Stamp = at + c.cols[colAt].signed() - r.Arrived
		r.Raw = c.raw(s)
		r.Value = r.Raw
		if r.Marks&converted != 0 {
			r.Value = c.value(s, r.Raw)
		}
	}
	c.series[c.lane].follower = k
	c.lane, c.last = k, r
	s.arrived, s.at, s.seen = r.Arrived, r.Arrived+r.Stamp, true
	return r, nil
}

func (s *series) predict(own bool, was, before int64) int64 {
	if own && s.seen {
		return was + s.period
	}
	return before
}

func (c *chunk) raw(s *series) float64 {
	code := c.cols[colRaw].next()
	if code == 0 {
		return c.cols[colWide].float()
	}
	s.mantissa += unzigzag(code - 1)
	return float64(s.mantissa) / powers[s.decimals]
}

func (c *chunk) value(s *series, raw float64) float64 {
	var value float64
	switch code := c.cols[colValue].next(); code {
	case 0:
		value = c.cols[colWide].float()
	case 1:
		return math.Float64frombits(s.values[math.Float64bits(raw)])
	default:
		value = math.Float64frombits(math.Float64bits(s.onLine(raw)) + uint64(unzigzag(code-2)))
	}
	s.values[math.Float64bits(raw)] = math.Float64bits(value)
	if raw != s.rawB && finite(raw) && finite(value) {
		s.rawA, s.valueA, s.rawB, s.valueB = s.rawB, s.valueB, raw, value
	}
	return value
}

// onLine converts its intermediate results so that no machine fuses product and
// sum, which would give another last bit.
func (s *series) onLine(raw float64) float64 {
	run := s.rawB - s.rawA
	if run == 0 {
		return s.valueB
	}
	slope := float64((s.valueB - s.valueA) / run)
	if v := s.valueB + float64(slope*float64(raw-s.rawB)); !math.IsNaN(v) {
		return v
	}
	return 0
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// A column is read from its start. After its end it gives zeros, and short tells.
type column struct {
	rest  []byte
	short bool
}

func (c *column) next() uint64 {
	u, n := binary.Uvarint(c.rest)
	if n <= 0 {
		c.rest, c.short = nil, true
		return 0
	}
	c.rest = c.rest[n:]
	return u
}

func (c *column) signed() int64 { return unzigzag(c.next()) }

func (c *column) float() float64 {
	b := c.take(8)
	if c.short {
		return 0
	}
	return math.Float64frombits(binary.LittleEndian.Uint64(b))
}

func (c *column) take(n uint64) []byte {
	if n > uint64(len(c.rest)) {
		c.rest, c.short = nil, true
		return nil
	}
	b := c.rest[:n]
	c.rest = c.rest[n:]
	return b
}

func unzigzag(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }
