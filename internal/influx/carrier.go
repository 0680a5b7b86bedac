package influx

import (
	"context"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

// refusedInARow is how many rows may be refused without one being taken
// before it is no longer the rows' fault but the database's.
const refusedInARow = 100

// A carrier brings consignments to the server. It halves what is too big and
// what holds bad rows, and remembers the size that the server bears.
type carrier struct {
	server  *server
	streak  int            // rows refused since one was taken
	limit   atomic.Int64   // most rows a request
	flows   atomic.Bool    // the last answer was that rows are taken
	sending sync.WaitGroup // what is sent ahead
}

func newCarrier(cfg Config) *carrier {
	c := &carrier{server: newServer(cfg)}
	c.limit.Store(int64(cfg.Pace.Rows))
	return c
}

// carry works on a consignment until every row is brought or parked, which it
// reports as accepted, or until the server is away or refuses altogether; calling
// it again then goes on with what is left.
func (c *carrier) carry(ctx context.Context, load *consignment) answer {
	for {
		rows, ok := c.portion(load)
		if !ok {
			return answer{}
		}
		a := c.post(ctx, load, rows)
		switch a.verdict {
		case accepted:
			c.streak, load.stored = 0, true
			c.flows.Store(true)
		case tooBig:
			c.smaller(load, rows, a)
		case badRows, unclear:
			c.sort(load, rows, a)
		default:
			c.flows.Store(false)
			load.back(rows)
			return a
		}
		if c.streak >= refusedInARow && c.refusesAll(ctx, load) {
			c.streak = 0
			c.flows.Store(false)
			load.restart() // the rows may all be good
			a.verdict = refused
			return a
		}
	}
}

// refusesAll tells whether the server takes nothing of a load, as far as can be
// told without sending every row alone: one row of each part that is left is
// tried. The parts double in size, so the rows are well spread.
func (c *carrier) refusesAll(ctx context.Context, load *consignment) bool {
	for _, part := range load.todo {
		if load.stored {
			break
		}
		switch c.server.post(ctx, load.lines(span{part.to - 1, part.to})).verdict {
		case accepted:
			load.stored = true
		case badRows, unclear:
		default: // away: the next row will meet the same, and be tried again
			return false
		}
	}
	return !load.stored
}

// smaller has rows brought in smaller portions from now on; a row that is too
// big by itself is parked.
func (c *carrier) smaller(load *consignment, rows span, a answer) {
	if rows.rows() == 1 {
		c.park(load, rows, a)
		return
	}
	c.limit.Store(int64(max(1, rows.rows()/2)))
	load.back(rows)
}

// sort tells bad rows from good ones by halving. The server's count is trusted
// only where it says that all are bad: a server that spreads rows over several
// files may count those of one file.
func (c *carrier) sort(load *consignment, rows span, a answer) {
	switch {
	case rows.rows() == 1, a.dropped == rows.rows():
		c.park(load, rows, a)
	default:
		if strings.Contains(a.said, "partial write") {
			load.stored = true // the rest of them
		}
		load.split(rows)
	}
}

// park puts rows aside, each by itself, for the keeper to see which they were.
// Rows that are too old make one entry: a database that keeps a month may refuse
// years of them, and nothing about them is to be mended.
func (c *carrier) park(load *consignment, rows span, a answer) {
	load.lost += rows.rows()
	if a.tooOld() {
		load.park(rows, c.server.cfg.Now(), a.said)
		return
	}
	c.streak += rows.rows()
	for i := rows.from; i < rows.to; i++ {
		load.park(span{i, i + 1}, c.server.cfg.Now(), a.said)
	}
}

// backoff is how long to wait after the n-th failure in a row, counted from 0.
func (p Pace) backoff(n int, a answer) time.Duration {
	if a.verdict == refused {
		return p.Mend
	}
	wait := p.RetryMax
	if n < 30 { // beyond, the shift says nothing
		wait = min(p.RetryMin<<n, p.RetryMax)
	}
	return max(wait, a.wait)
}
