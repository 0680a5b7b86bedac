package influx

import "context"

// ahead sends a load before its turn, while the one before it is still on its
// way: the server then never waits for us. It does so only while all goes well and
// the load fits one request; the answer is looked at when its turn comes.
func (c *carrier) ahead(ctx context.Context, load *consignment) {
	n := len(load.ends)
	if n == 0 || n > int(c.limit.Load()) || !c.flows.Load() {
		return
	}
	early := make(chan answer, 1)
	load.early = early
	c.sending.Go(func() { early <- c.server.post(ctx, load.lines(span{0, n})) })
}

// post sends some rows, or takes the answer of having sent them ahead. That the
// server was away or refused back then says nothing of now.
func (c *carrier) post(ctx context.Context, load *consignment, rows span) answer {
	if early := load.early; early != nil {
		load.early = nil
		if a := <-early; a.verdict != away && a.verdict != refused {
			return a
		}
	}
	return c.server.post(ctx, load.lines(rows))
}

// portion takes the next rows to send: as many as the server bears, or just
// those that were sent ahead.
func (c *carrier) portion(load *consignment) (rows span, ok bool) {
	if load.early != nil {
		return load.next(len(load.ends))
	}
	return load.next(int(c.limit.Load()))
}

// close waits for what is being sent and lets go of the server.
func (c *carrier) close() {
	c.sending.Wait()
	c.server.close()
}
