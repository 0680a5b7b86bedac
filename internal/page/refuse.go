package page

import (
	"errors"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// An action answers a request or says why it does not. It must not have
// written anything when it returns an error.
type action func(w http.ResponseWriter, r *http.Request) error

// A refusal is an error with a sentence for the person who asked.
type refusal struct {
	status   int
	sentence string
	wait     time.Duration // when to come again; 0 says nothing of it
}

func (r *refusal) Error() string { return r.sentence }

func refuse(status int, format string, args ...any) error {
	return &refusal{status: status, sentence: fmt.Sprintf(format, args...)}
}

func badInput(format string, args ...any) error {
	return refuse(http.StatusBadRequest, format, args...)
}

// answer makes a handler of an action: a refusal is shown with its sentence,
// any other error is logged and shown as a trouble of ours.
func (p *Page) answer(do action) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if err := do(w, r); err != nil {
			p.showRefusal(w, r, err)
		}
	})
}

func (p *Page) showRefusal(w http.ResponseWriter, r *http.Request, err error) {
	var no *refusal
	if !errors.As(err, &no) {
		p.cfg.Log.Error("page request", "path", clip(r.URL.Path, 80), "error", err)
		no = &refusal{status: http.StatusInternalServerError, sentence: "Something went wrong here. It has been noted in the daemon's log; trying again does no harm."}
	}
	if no.wait > 0 {
		w.Header().Set("Retry-After", strconv.Itoa(int(math.Ceil(no.wait.Seconds()))))
	}
	if forPrograms(r) {
		if err := writeJSON(w, no.status, map[string]string{"error": no.sentence}); err != nil {
			http.Error(w, no.sentence, no.status)
		}
		return
	}
	s := p.outside()
	if p.inside(r) {
		s = p.shell(w, r, "")
	}
	s.Title = refusalTitle(no.status)
	if err := p.show(w, no.status, "refusal", refusalPage{shell: s, Sentence: no.sentence}); err != nil {
		http.Error(w, no.sentence, no.status)
	}
}

func refusalTitle(status int) string {
	switch status {
	case http.StatusNotFound:
		return "Not here"
	case http.StatusServiceUnavailable:
		return "Not now"
	}
	return "Not done"
}

type refusalPage struct {
	shell
	Sentence string
}

func forPrograms(r *http.Request) bool {
	return r.URL.Path == "/api" || strings.HasPrefix(r.URL.Path, "/api/")
}

// clip shortens a stranger's text to n bytes or fewer, for showing it back.
func clip(s string, n int) string {
	if len(s) <= n {
		return s
	}
	return strings.ToValidUTF8(s[:n], "") + "…"
}
