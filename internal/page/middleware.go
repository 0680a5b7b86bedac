package page

import (
	"errors"
	"fmt"
	"math"
	"net"
	"net/http"
	"net/netip"
	"runtime/debug"
	"strconv"
	"strings"
	"time"

	"binwatchd/internal/loopback"
)

// policy lets a page use its own files and nothing else, frames and inline
// scripts included (W3C Content Security Policy Level 3).
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; " +
	"form-action 'self'; frame-ancestors 'none'; base-uri 'none'"

const (
	maxBody  = 8 << 10 // bytes of a form
	maxQuery = 2 << 10 // bytes after the ?
)

// guarded wraps a handler in what every request passes first: headers, size, the
// host asked for, and where a write comes from.
func (p *Page) guarded(h http.Handler) http.Handler {
	origin := http.NewCrossOriginProtection()
	origin.SetDenyHandler(p.answer(func(http.ResponseWriter, *http.Request) error {
		return refuse(http.StatusForbidden, "This came from another site, so nothing was done.")
	}))
	h = p.bounded(p.rightHost(origin.Handler(h)))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer p.survive(w, r)
		head := w.Header()
		head.Set("Content-Security-Policy", policy)
		head.Set("X-Content-Type-Options", "nosniff")
		head.Set("X-Frame-Options", "DENY")
		head.Set("Referrer-Policy", "same-origin") // no-referrer would make a browser hide the Origin of our own forms
		head.Set("Cache-Control", "private, no-cache")
		h.ServeHTTP(w, r)
	})
}

// survive turns a panic of ours into an answer: one bad page must not cost the
// daemon, nor leave a visitor without a word.
func (p *Page) survive(w http.ResponseWriter, r *http.Request) {
	v := recover()
	switch v {
	case nil:
		return
	case http.ErrAbortHandler:
		panic(v)
	}
	p.cfg.Log.Error("page panic", "path", clip(r.URL.Path, 80), "panic", v, "stack", string(debug.Stack()))
	http.Error(w, "Something went wrong here. It has been noted in the daemon's log.", http.StatusInternalServerError)
}

// bounded refuses what is larger than any honest request.
func (p *Page) bounded(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if len(r.URL.RawQuery) > maxQuery || len(r.URL.Path) > maxQuery {
			p.showRefusal(w, r, refuse(http.StatusRequestURITooLong, "That address is too long."))
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, maxBody)
		h.ServeHTTP(w, r)
	})
}

// rightHost keeps other sites from reading an open page through a name of
// theirs that they point at this machine: without a password only addresses
// and localhost will do as a host, and those no site can lay claim to.
func (p *Page) rightHost(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !p.locked && !plainHost(r.Host) {
			p.showRefusal(w, r, refuse(http.StatusMisdirectedRequest,
				"Under the name %s the page answers only when it has a password. Use this machine's address, or set one.", clip(r.Host, 80)))
			return
		}
		h.ServeHTTP(w, r)
	})
}

func plainHost(host string) bool {
	name, _, err := net.SplitHostPort(host)
	if err != nil {
		name = strings.Trim(host, "[]")
	}
	if loopback.Is(name) {
		return true
	}
	_, err = netip.ParseAddr(name)
	return err == nil
}

// An action answers a request or says why it does not. It must not have
// written anything when it returns an error.
type action func(w http.ResponseWriter, r *http.Request) error

// asks makes an action of one that wants the fields of its form, or those of its
// address.
func asks(do func(w http.ResponseWriter, r *http.Request, in fields) error) action {
	return func(w http.ResponseWriter, r *http.Request) error {
		read := readQuery
		if r.Method == http.MethodPost {
			read = func(r *http.Request) (fields, error) { return readForm(w, r) }
		}
		in, err := read(r)
		if err != nil {
			return err
		}
		return do(w, r, in)
	}
}

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
		no = &refusal{status: http.StatusInternalServerError,
			sentence: "Something went wrong here. It has been noted in the daemon's log; trying again does no harm."}
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
		s = p.shell(w, r, "", "")
	}
	switch s.Title = "Not done"; no.status {
	case http.StatusNotFound:
		s.Title = "Not here"
	case http.StatusServiceUnavailable:
		s.Title = "Not now"
	}
	if err := p.show(w, no.status, "refusal", refusalPage{shell: s, Sentence: no.sentence}); err != nil {
		http.Error(w, no.sentence, no.status)
	}
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

// notYet says that there is nothing to show for now.
func (p *Page) notYet() error {
	return &refusal{status: http.StatusServiceUnavailable, wait: p.cfg.Refresh,
		sentence: "Nothing has been judged yet: the first readings are still on their way. Look again in a minute."}
}
