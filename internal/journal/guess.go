package journal

import (
	"cmp"
	"slices"
)

// packHead is what a chunk tells before its columns: for each series in it, by
// rising id, what the guesses start from.
type packHead struct {
	seq, arrived int64 // of before the first row
	lanes        []laneHead
}

type laneHead struct {
	series         int64
	period         int64 // usual time between two readings, ms
	ownTime, ownAt bool  // times are guessed from the series' own last one, not from the row before
	decimals       uint64
}

func headOf(rows []row) packHead {
	var h packHead
	if len(rows) == 0 {
		return h
	}
	h.seq, h.arrived = rows[0].seq-1, rows[0].arrived
	bySeries := map[int64][]row{}
	for _, r := range rows {
		bySeries[r.series] = append(bySeries[r.series], r)
	}
	for id, own := range bySeries {
		l := laneHead{series: id, period: usualGap(own), decimals: decimalsOf(own)}
		h.lanes = append(h.lanes, l)
	}
	slices.SortFunc(h.lanes, func(a, b laneHead) int { return cmp.Compare(a.series, b.series) })
	h.chooseTimes(rows)
	return h
}

// usualGap is the median time between two readings.
func usualGap(rows []row) int64 {
	if len(rows) < 2 {
		return 0
	}
	gaps := make([]int64, len(rows)-1)
	for i := range gaps {
		gaps[i] = rows[i+1].arrived - rows[i].arrived
	}
	slices.Sort(gaps)
	return gaps[len(gaps)/2]
}

// chooseTimes finds for each series which of the two guesses of its times is
// the better one. Probes that speak in the same message as the one before have
// its time; others keep their own pace.
func (h *packHead) chooseTimes(rows []row) {
	own, other := newGuesser(h.all(true)), newGuesser(h.all(false))
	type cost struct{ ownTime, otherTime, ownAt, otherAt int }
	costs := make([]cost, len(h.lanes))
	for _, r := range rows {
		k := own.index[r.series]
		c, a, b := &costs[k], &own.lanes[k], &other.lanes[k]
		c.ownTime += length(r.arrived - a.arrived.guess(own.arrived))
		c.otherTime += length(r.arrived - b.arrived.guess(other.arrived))
		c.ownAt += length(r.at() - own.guessAt(a, r.marks, r.arrived))
		c.otherAt += length(r.at() - other.guessAt(b, r.marks, r.arrived))
		own.learn(k, r)
		other.learn(k, r)
	}
	for i, c := range costs {
		h.lanes[i].ownTime = c.ownTime < c.otherTime
		h.lanes[i].ownAt = c.ownAt < c.otherAt
	}
}

// all is the head with every choice made alike.
func (h *packHead) all(own bool) packHead {
	out := *h
	out.lanes = slices.Clone(h.lanes)
	for i := range out.lanes {
		out.lanes[i].ownTime, out.lanes[i].ownAt = own, own
	}
	return out
}

func (h *packHead) write(out *column) {
	out.putSigned(h.seq)
	out.putSigned(h.arrived)
	out.put(uint64(len(h.lanes)))
	for _, l := range h.lanes {
		out.put(uint64(l.series))
		out.putSigned(l.period)
		out.put(bit(l.ownTime) | bit(l.ownAt)<<1 | l.decimals<<2)
	}
}

func readPackHead(in *cursor) packHead {
	h := packHead{seq: in.signed(), arrived: in.signed()}
	n := in.next()
	for i := uint64(0); i < n && in.err == nil; i++ {
		l := laneHead{series: int64(in.next()), period: in.signed()}
		bits := in.next()
		l.ownTime, l.ownAt, l.decimals = bits&1 != 0, bits&2 != 0, min(bits>>2, maxDecimals)
		h.lanes = append(h.lanes, l)
	}
	return h
}

// A guesser goes along the rows and guesses the next one. Writer and reader run
// the same one, so that what it learns need not be told.
type guesser struct {
	seq, arrived, at int64 // of the row before
	lane             int   // of the row before
	lanes            []lane
	index            map[int64]int // series → lane
}

// A lane is what is known of one series so far.
type lane struct {
	series   int64
	follower int // the lane that came after this one last time; -1: none yet
	arrived  pace
	at       pace
	decimal  decimal
	curve    curve
}

// pace guesses times.
type pace struct {
	own         bool
	seen        bool
	period, was int64
}

func (p *pace) guess(before int64) int64 {
	if p.own && p.seen {
		return p.was + p.period
	}
	return before
}

func (p *pace) learn(t int64) { p.was, p.seen = t, true }

func newGuesser(h packHead) *guesser {
	g := &guesser{seq: h.seq, arrived: h.arrived, at: h.arrived, index: map[int64]int{}}
	for i, l := range h.lanes {
		g.index[l.series] = i
		g.lanes = append(g.lanes, lane{
			series: l.series, follower: -1,
			arrived: pace{own: l.ownTime, period: l.period},
			at:      pace{own: l.ownAt, period: l.period},
			decimal: decimal{places: l.decimals},
			curve:   newCurve(),
		})
	}
	return g
}

// guessAt guesses the time of measurement: the arrival where no device stamps.
func (g *guesser) guessAt(s *lane, marks, arrived int64) int64 {
	if marks&markStamped == 0 {
		return arrived
	}
	return s.at.guess(g.at)
}

// rank tells which lane comes next: 0 for the one that followed last time.
func (g *guesser) rank(k int) uint64 {
	if len(g.lanes) > 0 && g.lanes[g.lane].follower == k {
		return 0
	}
	return uint64(k) + 1
}

// ranked is the reverse of rank.
func (g *guesser) ranked(rank uint64) (k int, ok bool) {
	if rank > uint64(len(g.lanes)) || len(g.lanes) == 0 {
		return 0, false
	}
	k = int(rank) - 1
	if rank == 0 {
		k = g.lanes[g.lane].follower
	}
	return k, k >= 0
}

func (g *guesser) learn(k int, r row) {
	g.lanes[g.lane].follower = k
	g.lane, g.seq, g.arrived, g.at = k, r.seq, r.arrived, r.at()
	s := &g.lanes[k]
	s.arrived.learn(r.arrived)
	s.at.learn(r.at())
}

func bit(b bool) uint64 {
	if b {
		return 1
	}
	return 0
}

// length is how many bytes a signed number takes in a column.
func length(v int64) int {
	n := 1
	for u := zigzag(v); u >= 0x80; u >>= 7 {
		n++
	}
	return n
}
