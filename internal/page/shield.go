package page

import (
	"net"
	"net/http"
	"net/netip"
	"runtime/debug"
	"strings"

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

// shield is what every request passes first: headers, size, the host asked
// for, and where a write comes from.
func (p *Page) shield(h http.Handler) http.Handler {
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
