package ingest

import (
	"log/slog"
	"sync"
	"time"
)

// refusalsEvery is how often one kind of refusal is logged: a probe with a
// wrong password tries for ever.
const refusalsEvery = time.Minute

// refusals say in the log what a listener has turned away, with how often since
// it was last said and the newest as an example.
type refusals struct {
	log *slog.Logger
	now func() time.Time

	mu    sync.Mutex
	kinds map[string]*refusal
}

type refusal struct {
	times  int       // since it was last said
	saidAt time.Time // when that was
}

func newRefusals(log *slog.Logger, now func() time.Time) *refusals {
	return &refusals{log: log, now: now, kinds: map[string]*refusal{}}
}

// note counts one refusal; what is one of a few fixed texts.
func (r *refusals) note(what string, example ...any) {
	r.mu.Lock()
	defer r.mu.Unlock()
	k := r.kinds[what]
	if k == nil {
		k = &refusal{}
		r.kinds[what] = k
	}
	k.times++
	now := r.now()
	if now.Sub(k.saidAt) < refusalsEvery && !now.Before(k.saidAt) {
		return
	}
	r.log.Warn(what, append([]any{"times", k.times}, example...)...)
	*k = refusal{saidAt: now}
}
