package journal

import (
	"encoding/binary"
	"fmt"
)

// Numbers are packed as variable-length integers (LEB128, as encoding/binary
// writes them), signed ones folded so that small ones of either sign are short.

// zigzag folds 0, -1, 1, -2 … to 0, 1, 2, 3 …
func zigzag(v int64) uint64 { return uint64(v<<1) ^ uint64(v>>63) }

func unzigzag(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }

// A column is written at its end.
type column []byte

func (c *column) put(u uint64)      { *c = binary.AppendUvarint(*c, u) }
func (c *column) putSigned(v int64) { c.put(zigzag(v)) }
func (c *column) putWide(u uint64)  { *c = binary.LittleEndian.AppendUint64(*c, u) }

// A cursor reads a column from its start. After the first fault it gives
// zeros, and err tells.
type cursor struct {
	rest []byte
	err  error
}

func (c *cursor) next() uint64 {
	u, n := binary.Uvarint(c.rest)
	if n <= 0 {
		c.fail()
		return 0
	}
	c.rest = c.rest[n:]
	return u
}

func (c *cursor) signed() int64 { return unzigzag(c.next()) }

func (c *cursor) wide() uint64 {
	if len(c.rest) < 8 {
		c.fail()
		return 0
	}
	u := binary.LittleEndian.Uint64(c.rest)
	c.rest = c.rest[8:]
	return u
}

// take cuts the next n bytes off.
func (c *cursor) take(n uint64) []byte {
	if n > uint64(len(c.rest)) {
		c.fail()
		return nil
	}
	b := c.rest[:n]
	c.rest = c.rest[n:]
	return b
}

func (c *cursor) fail() {
	c.rest = nil
	if c.err == nil {
		c.err = fmt.Errorf("%w: packed readings end too early", ErrDamaged)
	}
}
