package influx

import (
	"context"
	"strings"
	"sync"
	"sync/atomic"
)

// refusedInARow is how many rows may be refused without one being taken
// before it is no longer the rows' fault but the database's.
const refusedInARow = 100

// A pipeline brings batches to the server. It sends one ahead of the answer to the
// one before, halves what is too big and what holds bad rows, and remembers the size
// that the server bears.
type pipeline struct {
	server  *server
	streak  int            // rows refused since one was taken
	limit   atomic.Int64   // most rows a request
	flows   atomic.Bool    // the last answer was that rows are taken
	sending sync.WaitGroup // what is sent ahead
}

func newPipeline(cfg Config) *pipeline {
	p := &pipeline{server: newServer(cfg)}
	p.limit.Store(int64(cfg.Pace.Rows))
	return p
}

// close waits for what is being sent and lets go of the server.
func (p *pipeline) close() {
	p.sending.Wait()
	p.server.client.CloseIdleConnections()
}

// sendAhead sends a batch before its turn, while the one before it is still on its
// way: the server then never waits for us. It does so only while all goes well and
// the batch fits one request; the answer is looked at when its turn comes.
func (p *pipeline) sendAhead(ctx context.Context, b *batch) {
	n := len(b.ends)
	if n == 0 || n > int(p.limit.Load()) || !p.flows.Load() {
		return
	}
	early := make(chan answer, 1)
	b.early = early
	p.sending.Go(func() { early <- p.server.post(ctx, b.lines(span{0, n})) })
}

// post sends some rows, or takes the answer of having sent them ahead. That the
// server was away or refused back then says nothing of now.
func (p *pipeline) post(ctx context.Context, b *batch, rows span) answer {
	if early := b.early; early != nil {
		b.early = nil
		if a := <-early; a.verdict != away && a.verdict != refused {
			return a
		}
	}
	return p.server.post(ctx, b.lines(rows))
}

// carry works on a batch until every row is brought or parked, which it
// reports as accepted, or until the server is away or refuses altogether; calling
// it again then goes on with what is left.
func (p *pipeline) carry(ctx context.Context, b *batch) answer {
	for {
		limit := int(p.limit.Load())
		if b.early != nil {
			limit = len(b.ends) // just those that were sent ahead
		}
		rows, ok := b.next(limit)
		if !ok {
			return answer{}
		}
		a := p.post(ctx, b, rows)
		one := rows.rows() == 1
		switch {
		case a.verdict == accepted:
			p.streak, b.stored = 0, true
			p.flows.Store(true)
		case a.verdict == tooBig && !one:
			p.limit.Store(int64(max(1, rows.rows()/2)))
			b.back(rows)
		case a.verdict == tooBig, a.verdict.ofRows() && (one || a.dropped == rows.rows()):
			// The server's count is trusted only where it says that all are bad: one
			// that spreads rows over several files may count those of one file.
			p.park(b, rows, a)
		case a.verdict.ofRows():
			b.stored = b.stored || strings.Contains(a.said, "partial write") // the rest of them
			b.split(rows)
		default:
			p.flows.Store(false)
			b.back(rows)
			return a
		}
		if p.streak >= refusedInARow && p.refusesAll(ctx, b) {
			p.streak = 0
			p.flows.Store(false)
			b.restart() // the rows may all be good
			a.verdict = refused
			return a
		}
	}
}

// refusesAll tells whether the server takes nothing of a batch, as far as can be
// told without sending every row alone: one row of each part that is left is
// tried. The parts double in size, so the rows are well spread.
func (p *pipeline) refusesAll(ctx context.Context, b *batch) bool {
	for _, part := range b.todo {
		if b.stored {
			break
		}
		switch v := p.server.post(ctx, b.lines(span{part.to - 1, part.to})).verdict; {
		case v == accepted:
			b.stored = true
		case !v.ofRows(): // away: the next row will meet the same, and be tried again
			return false
		}
	}
	return !b.stored
}

// park puts rows aside, each by itself, for the keeper to see which they were.
// Rows that are too old make one entry: a database that keeps a month may refuse
// years of them, and nothing about them is to be mended.
func (p *pipeline) park(b *batch, rows span, a answer) {
	now := p.server.cfg.Now()
	b.lost += rows.rows()
	if a.tooOld() {
		b.park(rows, now, "older than the database keeps, so it will never take it; the journal still has it. To have it there, let the database keep longer, then resend. It says: "+a.said)
		return
	}
	p.streak += rows.rows()
	for i := rows.from; i < rows.to; i++ {
		b.park(span{i, i + 1}, now, a.said)
	}
}
