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

	"binwatchd/internal/journal/columns"
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

const maxPlain = 64 << 20 // bounds what a damaged body may unfold to

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
	colHead = iota
	colSeq  // how many sequence numbers are left out before the row
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
	columns.Codec
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
	line                  columns.Line
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
	c := chunk{Codec: columns.Codec{Unpacking: true, Cols: make([][]byte, columnCount)}}
	c.Cols[colHead] = plain
	if v := c.next(colHead); v != Version {
		c.Fail(fmt.Errorf("packed in unknown form %d", v))
	}
	n := c.next(colHead)
	c.readHead()
	for i := colSeq; i < columnCount; i++ {
		c.Cols[i] = c.Take(colHead, c.next(colHead))
	}
	if n > uint64(len(c.Cols[colSeq])) { // a row takes a byte there at least
		c.Fail(fmt.Errorf("chunk of %d rows", n))
	}
	rows := make([]Row, 0, min(n, uint64(len(plain))))
	for c.Err == nil && uint64(len(rows)) < n {
		rows = append(rows, c.row())
	}
	if c.Err != nil {
		return nil, c.Err
	}
	return rows, nil
}

func (c *chunk) next(col int) uint64 { return c.Uint(col, 0) }

func (c *chunk) signed(col int) int64 { return c.Int(col, 0) }

func (c *chunk) readHead() {
	c.last.Seq, c.last.Arrived = c.signed(colHead), c.signed(colHead)
	for n := c.next(colHead); n > 0 && c.Err == nil; n-- {
		s := series{number: int64(c.next(colHead)), period: c.signed(colHead), follower: -1, values: map[uint64]uint64{}}
		choices := c.next(colHead)
		s.ownArrivals, s.ownTimes, s.decimals = choices&1 != 0, choices&2 != 0, min(choices>>2, columns.MaxDecimals)
		c.series = append(c.series, s)
	}
}

func (c *chunk) row() Row {
	r := Row{Seq: c.last.Seq + 1 + int64(c.next(colSeq))}
	k := int(min(c.next(colSeries), math.MaxInt32)) - 1
	if k < 0 && len(c.series) > 0 {
		k = c.series[c.lane].follower
	}
	if k < 0 || k >= len(c.series) {
		c.Fail(errors.New("packed reading of an unlisted series"))
		return r
	}
	s := &c.series[k]
	r.Series = s.number
	r.Arrived = s.predict(s.ownArrivals, s.arrived, c.last.Arrived) + c.signed(colArrived)
	r.Marks = int64(c.next(colMarks))
	if r.Series != 0 {
		at := r.Arrived
		if r.Marks&stamped != 0 {
			at = s.predict(s.ownTimes, s.at, c.last.Arrived+c.last.Stamp)
		}
		r.Stamp = at + c.signed(colAt) - r.Arrived
		r.Raw = c.raw(s)
		r.Value = r.Raw
		if r.Marks&converted != 0 {
			r.Value = c.value(s, r.Raw)
		}
	}
	c.series[c.lane].follower = k
	c.lane, c.last = k, r
	s.arrived, s.at, s.seen = r.Arrived, r.Arrived+r.Stamp, true
	return r
}

func (s *series) predict(own bool, was, before int64) int64 {
	if own && s.seen {
		return was + s.period
	}
	return before
}

func (c *chunk) raw(s *series) float64 {
	step, told := c.Step(colRaw, 0, false)
	if !told {
		return c.Float(colWide, 0)
	}
	s.mantissa += step
	return float64(s.mantissa) / columns.Powers[s.decimals]
}

func (c *chunk) value(s *series, raw float64) float64 {
	var value float64
	switch code := c.next(colValue); code {
	case 0:
		value = c.Float(colWide, 0)
	case 1:
		return math.Float64frombits(s.values[math.Float64bits(raw)])
	default:
		value = math.Float64frombits(math.Float64bits(s.line.At(raw)) + uint64(columns.Unzigzag(code-2)))
	}
	s.values[math.Float64bits(raw)] = math.Float64bits(value)
	s.line.Add(raw, value)
	return value
}
