package demo

import "context"

// Flush waits until the broker has acknowledged everything published.
func (r *Radio) Flush(ctx context.Context) error {
	for len(r.flight) > 0 {
		if err := r.land(ctx); err != nil {
			return err
		}
	}
	return nil
}
