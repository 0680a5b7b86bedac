package influx

import (
	"context"
	"errors"
	"fmt"
	"time"

	"binwatchd/internal/backoff"
	"binwatchd/internal/farm"
)

// An Archive is the journal as a resend needs it.
type Archive interface {
	Source
	// Span gives the first and the last place of what arrived in [from, to);
	// both are 0 when nothing did.
	Span(ctx context.Context, from, to time.Time) (first, last int64, err error)
}

// A Range is the times [From, To) to send again. A zero To has no end.
type Range struct{ From, To time.Time }

func (r Range) holds(t time.Time) bool {
	return !t.Before(r.From) && (r.To.IsZero() || t.Before(r.To))
}

// A device's time stamp is believed when it is at most so far from the arrival;
// so a range of times is found in a somewhat wider range of arrivals.
const (
	mostBehind = 30 * 24 * time.Hour
	mostAhead  = 10 * time.Minute
)

// Sent is what a resend has done.
type Sent struct {
	Written int64         // rows accepted
	Refused int64         // rows that the server refuses
	Reasons []farm.Parked // the first few of those, with the server's words
}

const (
	mostReasons = 10
	resendTries = 6 // in a row, before a resend gives up
)

// Resend writes the readings, jots and changes of a range of times again, for
// a database that is new or has lost some. It moves no cursor and parks nothing.
// progress, when not nil, is called after each request's worth. The error says
// what hindered it; what was written until then stays written, and the whole can be
// done again.
func Resend(ctx context.Context, cfg Config, f farm.Farm, a Archive, r Range, progress func(Sent)) (Sent, error) {
	var sent Sent
	cfg, err := cfg.complete()
	if err != nil {
		return sent, err
	}
	first, last, err := a.Span(ctx, r.From.Add(-mostAhead), r.arrivalsEnd())
	if err != nil {
		return sent, fmt.Errorf("find range in journal: %w", err)
	}
	if last == 0 {
		return sent, nil
	}
	p, lines := newPipeline(cfg), NewLines(f, cfg.Measurement)
	defer p.close()
	for after := first - 1; after < last; {
		st, err := a.Forward(ctx, after, cfg.Pace.Rows)
		if err != nil {
			return sent, fmt.Errorf("read journal after %d: %w", after, err)
		}
		if st.Last <= after {
			break
		}
		b := newBatch(func(int64) *Lines { return lines }, st, r.holds)
		if err := bringNow(ctx, p, b); err != nil {
			return sent, err
		}
		sent.add(b)
		if progress != nil {
			progress(sent)
		}
		after = st.Last
	}
	return sent, nil
}

// arrivalsEnd is when the last of the range may have arrived.
func (r Range) arrivalsEnd() time.Time {
	if r.To.IsZero() {
		return time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC) // past any arrival
	}
	return r.To.Add(mostBehind)
}

func (s *Sent) add(b *batch) {
	s.Written += int64(len(b.ends) - b.lost)
	s.Refused += int64(b.lost)
	if room := mostReasons - len(s.Reasons); room > 0 {
		s.Reasons = append(s.Reasons, b.parked[:min(room, len(b.parked))]...)
	}
}

// bringNow tries a few times: a person is waiting.
func bringNow(ctx context.Context, p *pipeline, b *batch) error {
	for failures := 1; ; failures++ {
		a := p.carry(ctx, b)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case a.verdict == accepted:
			return nil
		case a.verdict == refused:
			return errors.New(p.server.refusal(a))
		case failures == resendTries:
			return fmt.Errorf("%s does not answer (%s); run the same again later", p.server.name, a.said)
		}
		if !backoff.Pause(ctx, p.server.cfg.Pace.afterFailures(failures, a)) {
			return ctx.Err()
		}
	}
}
