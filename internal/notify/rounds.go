package notify

import (
	"context"
	"fmt"
	"time"

	"binwatchd/internal/backoff"
	"binwatchd/internal/farm"
)

// A roundsDesk mails the care list to one address on schedule. The moment of
// the last list is a cursor on disk: a list that fell due while the program or
// the mail server was down goes out afterwards, once, and says how things are
// by then.
type roundsDesk struct {
	cfg    Config
	src    Sources
	mailer *mailer
	to     string
}

func newRoundsDesks(cfg Config, src Sources) ([]*roundsDesk, error) {
	if cfg.Rounds == nil {
		return nil, nil
	}
	var out []*roundsDesk
	for _, to := range cfg.Rounds.To {
		m, err := newMailer(cfg, src, to)
		if err != nil {
			return nil, fmt.Errorf("rounds to %s: %w", to, err)
		}
		out = append(out, &roundsDesk{cfg: cfg, src: src, mailer: m, to: to})
	}
	return out, nil
}

func (d *roundsDesk) run(ctx context.Context) {
	failures := 0
	for {
		wait, err := d.turn(ctx)
		if err != nil && ctx.Err() == nil {
			failures++
			wait = waits.After(failures)
			d.cfg.Log.Warn("rounds not delivered", "to", d.to, "error", err, "try_again_in", wait.String())
		} else {
			failures = 0
		}
		if !backoff.Pause(ctx, wait) {
			return
		}
	}
}

// clockSlack is how far a moment may lie ahead that was noted by the same clock.
const clockSlack = time.Minute

// turn sends the list that is due, if one is, and says when to look again. It
// looks every minute at least: a clock that is put right meanwhile, as on a
// machine without a battery for it, must not put the list off.
func (d *roundsDesk) turn(ctx context.Context) (time.Duration, error) {
	now := d.cfg.Now()
	loc := d.cfg.Farm.Location
	name := "rounds-mail:" + d.to
	last, err := d.src.Cursors.Cursor(ctx, name)
	if err != nil {
		return 0, fmt.Errorf("read cursor: %w", err)
	}
	due := d.cfg.Rounds.Schedule.Last(now, loc)
	switch {
	case last == 0:
		return 0, d.remember(ctx, name, now) // the first list is the next one
	case last > now.Add(clockSlack).Unix():
		// It was noted by a clock that was ahead, perhaps by years.
		return 0, d.remember(ctx, name, now)
	case last >= due.Unix():
		return max(time.Millisecond, min(d.cfg.Rounds.Schedule.Next(now, loc).Sub(now), lookAgain)), nil
	}
	rounds, ok := d.src.Rounds()
	if !ok {
		return time.Second, nil // the farm is not known yet
	}
	a := within(ctx, attempt, grace, func(ctx context.Context) answer {
		return d.post(ctx, rounds, due, now)
	})
	if a.verdict != accepted {
		return 0, fmt.Errorf("mail server: %s", a.said)
	}
	return 0, d.remember(ctx, name, due)
}

func (d *roundsDesk) remember(ctx context.Context, name string, at time.Time) error {
	err := within(ctx, attempt, grace, func(ctx context.Context) error {
		return d.src.Cursors.SetCursor(ctx, name, at.Unix())
	})
	if err != nil {
		return fmt.Errorf("write cursor: %w", err)
	}
	return nil
}

// post mails the list that was due at a moment; the Message-ID is that of the
// moment and the address.
func (d *roundsDesk) post(ctx context.Context, r farm.Rounds, due, now time.Time) answer {
	w := newWriter(d.cfg, d.src, now)
	id := "rounds-" + hashed(d.cfg.Farm.Name, d.to, due.UTC().Format(time.RFC3339))
	return d.mailer.post(ctx, w.rounds(ctx, r), envelope{id: id, date: now})
}

// testRounds mails the care list as it stands, marked as a test.
func (s *Sender) testRounds(ctx context.Context, now time.Time) []Report {
	var out []Report
	for _, d := range s.rounds {
		r := farm.Rounds{At: now, Farm: s.cfg.Farm.Name, Opening: "This is a test. The farm is not known yet."}
		if s.src.Rounds != nil {
			if known, ok := s.src.Rounds(); ok {
				r = known
			}
		}
		sh := newWriter(s.cfg, s.src, now).rounds(ctx, r)
		sh.Subject = "Test: " + sh.Subject
		a := d.mailer.post(ctx, sh, envelope{id: "test-" + hashed(d.to, now.String()), date: now})
		out = append(out, Report{"mail:" + d.to, ByMail, "rounds", a.verdict == accepted, a.said})
	}
	return out
}
