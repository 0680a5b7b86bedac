package notify

import (
	"context"
	"fmt"
	"time"
)

// A carrier hands one letter to one teller's server.
type carrier interface {
	carry(ctx context.Context, l letter, now time.Time) answer
}

// verdict is what came of handing a letter over.
type verdict uint8

const (
	accepted    verdict = iota
	refused             // this letter is not taken; another may be
	unreachable         // nothing was taken, and nothing else would be
	unanswered          // it may have been taken: the answer got lost
)

// An answer is what a teller's server said to a letter.
type answer struct {
	verdict verdict
	said    string        // fit to be shown: no secret in it
	wait    time.Duration // the server asked to be left alone for so long; 0: it did not
}

// Check tells why a teller can't be served, without asking its server anything.
// The error holds nothing secret.
func Check(cfg Config, t Teller) error {
	_, err := newCarrier(cfg.settled(), Sources{}, t)
	return err
}

// newCarrier makes the carrier of a teller.
func newCarrier(cfg Config, src Sources, t Teller) (carrier, error) {
	switch t.Kind {
	case ByMail:
		return newMailer(cfg, src, t.To)
	case ByPush:
		return newPusher(cfg, src, t)
	case ByWebhook:
		return newHook(cfg, t)
	}
	return nil, fmt.Errorf("no such way to tell: %q", t.Kind)
}
