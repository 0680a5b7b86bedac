package journal

import "fmt"

// packVersion is the first number of a packed chunk.
const packVersion = 1

// columnCount is the number of columns of a chunk, in the order of writeRow.
const (
	colSeq = iota
	colSeries
	colArrived
	colAt
	colMarks
	colRaw
	colValue
	colWide
	columnCount
)

// pack turns rows, by rising sequence number, into a chunk's body: one column
// for each part of a row, each number told as what differs from its guess, then
// compressed. Probes speak in turn and at a steady pace, and what they measure
// moves by small steps, so that nearly all differences are small. Nothing is
// lost: unpack gives back every bit.
func pack(rows []row) []byte {
	head := headOf(rows)
	var cols [columnCount]column
	g := newGuesser(head)
	for i := range rows {
		writeRow(&cols, g, rows[i])
	}
	var out column
	out.put(packVersion)
	out.put(uint64(len(rows)))
	head.write(&out)
	for _, c := range cols {
		out.put(uint64(len(c)))
		out = append(out, c...)
	}
	return press(out)
}

// unpack gives back the rows that pack was given, or ErrDamaged.
func unpack(body []byte) ([]row, error) {
	plain, err := unpress(body)
	if err != nil {
		return nil, err
	}
	return unpackPlain(plain)
}

// unpackPlain must bear any bytes.
func unpackPlain(plain []byte) ([]row, error) {
	in := &cursor{rest: plain}
	if v := in.next(); v != packVersion && in.err == nil {
		return nil, fmt.Errorf("%w: packed in unknown form %d", ErrDamaged, v)
	}
	n := in.next()
	head := readPackHead(in)
	var cols [columnCount]cursor
	for i := range cols {
		cols[i].rest = in.take(in.next())
	}
	if in.err != nil {
		return nil, in.err
	}
	if n > uint64(len(cols[colSeq].rest)) { // a row takes a byte there at least
		return nil, fmt.Errorf("%w: chunk of %d rows", ErrDamaged, n)
	}
	return readRows(&cols, head, int(n))
}

func readRows(cols *[columnCount]cursor, head packHead, n int) ([]row, error) {
	g := newGuesser(head)
	rows := make([]row, 0, n)
	for range n {
		r, err := readRow(cols, g)
		if err != nil {
			return nil, err
		}
		rows = append(rows, r)
	}
	for i := range cols {
		if cols[i].err != nil {
			return nil, cols[i].err
		}
	}
	return rows, nil
}

func writeRow(cols *[columnCount]column, g *guesser, r row) {
	cols[colSeq].put(uint64(r.seq - g.seq - 1))
	k := g.index[r.series]
	cols[colSeries].put(g.rank(k))
	s := &g.lanes[k]
	cols[colArrived].putSigned(r.arrived - s.arrived.guess(g.arrived))
	cols[colMarks].put(uint64(r.marks))
	if r.series != tickSeries {
		writeNumbers(cols, g, s, r)
	}
	g.learn(k, r)
}

// writeNumbers writes what a tick has not. The time of measurement is guessed
// from the series' own last one only when the device stamps it.
func writeNumbers(cols *[columnCount]column, g *guesser, s *lane, r row) {
	cols[colAt].putSigned(r.at() - g.guessAt(s, r.marks, r.arrived))
	s.decimal.write(&cols[colRaw], &cols[colWide], r.raw)
	if r.marks&markConverted != 0 {
		s.curve.write(&cols[colValue], &cols[colWide], r.raw, r.value)
	}
}

func readRow(cols *[columnCount]cursor, g *guesser) (row, error) {
	r := row{seq: g.seq + 1 + int64(cols[colSeq].next())}
	k, ok := g.ranked(cols[colSeries].next())
	if !ok {
		return r, fmt.Errorf("%w: packed reading of an unlisted series", ErrDamaged)
	}
	s := &g.lanes[k]
	r.series = s.series
	r.arrived = s.arrived.guess(g.arrived) + cols[colArrived].signed()
	r.marks = int64(cols[colMarks].next())
	if r.series != tickSeries {
		readNumbers(cols, g, s, &r)
	}
	g.learn(k, r)
	return r, nil
}

func readNumbers(cols *[columnCount]cursor, g *guesser, s *lane, r *row) {
	r.stamp = g.guessAt(s, r.marks, r.arrived) + cols[colAt].signed() - r.arrived
	r.raw = s.decimal.read(&cols[colRaw], &cols[colWide])
	r.value = r.raw
	if r.marks&markConverted != 0 {
		r.value = s.curve.read(&cols[colValue], &cols[colWide], r.raw)
	}
}
