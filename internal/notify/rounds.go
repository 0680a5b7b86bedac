package notify

import (
	"context"
	"time"
)

func (s *Sender) testRounds(ctx context.Context, now time.Time) []Report { return nil }
