package influx

import (
	"fmt"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// A consignment is a stretch of the journal as lines, on its way to the server.
// It knows which rows are still to be brought, so that after an interruption the
// work goes on where it stopped and no bad row is sought twice.
type consignment struct {
	text string
	ends []int // ends[i] is where row i ends in text
	last int64 // the cursor once everything is brought or parked
	anew bool  // it goes back to what was brought before

	early chan answer // of having sent all of it ahead; nil when it was not

	todo   []span // what is to be brought, the next one at the end
	parked []Parked
	lost   int  // rows that the server refuses
	stored bool // the server has taken some of the rows
}

// A span is rows from up to, but not including, to.
type span struct{ from, to int }

func (s span) rows() int { return s.to - s.from }

func (s span) halves() (first, second span) {
	mid := s.from + s.rows()/2
	return span{s.from, mid}, span{mid, s.to}
}

// consign writes a stretch as lines, changes after the readings that caused
// them. keep, when not nil, leaves out what it does not want by its time.
func consign(lines func(seq int64) *Lines, st Stretch, keep func(time.Time) bool) *consignment {
	c := &consignment{last: st.Last, ends: make([]int, 0, len(st.Events)+len(st.Changes))}
	buf := make([]byte, 0, 128*cap(c.ends))
	add := func(at time.Time, line func([]byte) []byte) {
		if keep != nil && !keep(at) {
			return
		}
		buf = line(buf)
		c.ends = append(c.ends, len(buf))
	}
	for i := range st.Events {
		switch e := &st.Events[i]; e.Kind {
		case farm.EventReading:
			add(e.Reading.At, func(b []byte) []byte { return lines(e.Seq).AppendReading(b, e.Reading) })
		case farm.EventJot:
			add(e.Jot.At, func(b []byte) []byte { return lines(e.Seq).AppendJot(b, e.Jot) })
		}
	}
	for _, ch := range st.Changes {
		add(ch.At, func(b []byte) []byte { return lines(st.Last).AppendChange(b, ch) })
	}
	c.text = string(buf)
	c.restart()
	return c
}

// restart forgets what has been brought and parked.
func (c *consignment) restart() {
	c.todo, c.parked, c.lost, c.stored = c.todo[:0], nil, 0, false
	if n := len(c.ends); n > 0 {
		c.todo = append(c.todo, span{0, n})
	}
}

// next takes the next rows to bring, at most limit of them.
func (c *consignment) next(limit int) (s span, ok bool) {
	if len(c.todo) == 0 {
		return s, false
	}
	s = c.todo[len(c.todo)-1]
	c.todo = c.todo[:len(c.todo)-1]
	if s.rows() > limit {
		c.todo = append(c.todo, span{s.from + limit, s.to})
		s.to = s.from + limit
	}
	return s, true
}

// split puts rows back in halves, the earlier one first in line.
func (c *consignment) split(s span) {
	first, second := s.halves()
	c.todo = append(c.todo, second, first)
}

// back puts rows back as they are.
func (c *consignment) back(s span) { c.todo = append(c.todo, s) }

// park notes some rows as one entry, under the first of them.
func (c *consignment) park(s span, at time.Time, said string) {
	first := c.lines(span{s.from, s.from + 1})
	if s.rows() > 1 {
		said = fmt.Sprintf("%s (%d rows from this one on)", said, s.rows())
	}
	c.parked = append(c.parked, Parked{At: at, Line: strings.TrimSuffix(first, "\n"), Reason: said, Rows: s.rows()})
}

// lines is the text of some rows.
func (c *consignment) lines(s span) string {
	from := 0
	if s.from > 0 {
		from = c.ends[s.from-1]
	}
	return c.text[from:c.ends[s.to-1]]
}
