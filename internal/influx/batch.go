package influx

import (
	"fmt"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// A batch is a stretch of the journal as lines, on its way to the server.
// It knows which rows are still to be brought, so that after an interruption the
// work goes on where it stopped and no bad row is sought twice.
type batch struct {
	text string
	ends []int // ends[i] is where row i ends in text
	last int64 // the cursor once everything is brought or parked
	anew bool  // it goes back to what was brought before

	early chan answer // of having sent all of it ahead; nil when it was not

	todo   []span // what is to be brought, the next one at the end
	parked []farm.Parked
	lost   int  // rows that the server refuses
	stored bool // the server has taken some of the rows
}

// A span is rows from up to, but not including, to.
type span struct{ from, to int }

func (s span) rows() int { return s.to - s.from }

// newBatch writes a stretch as lines, changes after the readings that caused
// them. keep, when not nil, leaves out what it does not want by its time.
func newBatch(lines func(seq int64) *Lines, st farm.Stretch, keep func(time.Time) bool) *batch {
	b := &batch{last: st.Last, ends: make([]int, 0, len(st.Events)+len(st.Changes))}
	text := make([]byte, 0, 128*cap(b.ends))
	wanted := func(at time.Time) bool { return keep == nil || keep(at) }
	for i := range st.Events {
		switch e := &st.Events[i]; {
		case e.Kind == farm.EventReading && wanted(e.Reading.At):
			text = lines(e.Seq).AppendReading(text, e.Reading, e.Elsewhere)
		case e.Kind == farm.EventJot && wanted(e.Jot.At):
			text = lines(e.Seq).AppendJot(text, e.Jot, st.Alike[e.Seq])
		case e.Kind == farm.EventStrike && wanted(e.Strike.Jot.At):
			text = lines(e.Strike.Line).AppendStrike(text, e.Strike.Jot, st.Alike[e.Seq])
		case e.Kind == farm.EventStock && wanted(e.Arrived):
			text = lines(e.Seq).AppendStock(text, e.Stock, e.Arrived)
		default:
			continue
		}
		b.ends = append(b.ends, len(text))
	}
	for _, c := range st.Changes {
		if wanted(c.At) {
			text = lines(st.Last).AppendChange(text, c)
			b.ends = append(b.ends, len(text))
		}
	}
	b.text = string(text)
	b.restart()
	return b
}

// restart forgets what has been brought and parked.
func (b *batch) restart() {
	b.todo, b.parked, b.lost, b.stored = b.todo[:0], nil, 0, false
	if n := len(b.ends); n > 0 {
		b.todo = append(b.todo, span{0, n})
	}
}

// next takes the next rows to bring, at most limit of them.
func (b *batch) next(limit int) (s span, ok bool) {
	if len(b.todo) == 0 {
		return s, false
	}
	s = b.todo[len(b.todo)-1]
	b.todo = b.todo[:len(b.todo)-1]
	if s.rows() > limit {
		b.back(span{s.from + limit, s.to})
		s.to = s.from + limit
	}
	return s, true
}

// back puts rows back as they are.
func (b *batch) back(s span) { b.todo = append(b.todo, s) }

// split puts rows back in halves, the earlier one first in line.
func (b *batch) split(s span) {
	mid := s.from + s.rows()/2
	b.todo = append(b.todo, span{mid, s.to}, span{s.from, mid})
}

// park notes some rows as one entry, under the first of them.
func (b *batch) park(s span, at time.Time, said string) {
	first := b.lines(span{s.from, s.from + 1})
	if s.rows() > 1 {
		said = fmt.Sprintf("%s (%d rows from this one on)", said, s.rows())
	}
	b.parked = append(b.parked, farm.Parked{At: at, Line: strings.TrimSuffix(first, "\n"), Reason: said, Rows: s.rows()})
}

// lines is the text of some rows.
func (b *batch) lines(s span) string {
	from := 0
	if s.from > 0 {
		from = b.ends[s.from-1]
	}
	return b.text[from:b.ends[s.to-1]]
}
