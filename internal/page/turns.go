package page

import (
	"bytes"
	"cmp"
	"maps"
	"net/http"
	"runtime"
	"strconv"
	"time"
)

// Pages are drawn a few at a time, so that many readers never hold the live loop up, nor
// fill the memory: who comes meanwhile waits for a turn. A page is ready and packed before
// any of it is sent, for a phone at the edge of the network takes its time, and a turn must
// not last as long.

// patience is how long a reader waits for a turn before being asked to come again.
const patience = 2 * time.Second

// atOnce is how many pages are drawn at a time where nothing else is said: half of the
// processors are left alone.
func atOnce() int { return max(1, runtime.GOMAXPROCS(0)/2) }

// inTurn has h answer those who read a few at a time. What somebody writes waits for
// nobody: it is small, and a line for the logbook is not to be sent away.
func (p *Page) inTurn(h http.Handler) http.Handler {
	turns := make(chan struct{}, p.cfg.AtOnce)
	away := p.guarded(p.answer(func(*visit) error {
		return &refusal{status: http.StatusServiceUnavailable, wait: patience, sentence: "Too many are looking at once. Look again in a moment."}
	}))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			h.ServeHTTP(w, r)
			return
		}
		late := time.NewTimer(patience)
		defer late.Stop()
		select {
		case turns <- struct{}{}:
			drawn(turns, h, r).sendTo(w)
		case <-late.C:
			away.ServeHTTP(w, r)
		case <-r.Context().Done(): // nobody waits for it any more
		}
	})
}

// A drawing is an answer that is not sent yet.
type drawing struct {
	header http.Header
	status int
	body   bytes.Buffer
}

// drawn has h draw an answer, and ends the turn.
func drawn(turns <-chan struct{}, h http.Handler, r *http.Request) *drawing {
	defer func() { <-turns }()
	d := &drawing{header: http.Header{}}
	h.ServeHTTP(d, r)
	return d
}

func (d *drawing) Header() http.Header { return d.header }

func (d *drawing) WriteHeader(status int) {
	if d.status == 0 {
		d.status = status
	}
}

func (d *drawing) Write(b []byte) (int, error) {
	d.WriteHeader(http.StatusOK)
	return d.body.Write(b)
}

func (d *drawing) sendTo(w http.ResponseWriter) {
	header := w.Header()
	maps.Copy(header, d.header)
	if d.body.Len() > 0 {
		header.Set("Content-Length", strconv.Itoa(d.body.Len()))
	}
	w.WriteHeader(cmp.Or(d.status, http.StatusOK))
	_, _ = w.Write(d.body.Bytes()) // the reader has gone: nobody is left to tell
}
