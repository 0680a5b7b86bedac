package notify

import (
	"context"

	"binwatchd/internal/farm"
)

func (w writer) pictures(ctx context.Context, c farm.Change) []picture { return nil }
