package page

import (
	"net"
	"net/http"
	"net/netip"
	"runtime/debug"
	"strings"

	"binwatchd/internal/loopback"
)

// headers go out with every answer. The policy lets a page use its own files and
// nothing else, frames and inline scripts included (W3C Content Security Policy
// Level 3).
var headers = map[string]string{
	"Content-Security-Policy": "default-src 'none'; style-src 'self'; script-src 'self'; worker-src 'self'; img-src 'self'; connect-src 'self'; " +
		"manifest-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
	"X-Content-Type-Options": "nosniff",
	"X-Frame-Options":        "DENY",
	"Referrer-Policy":        "same-origin", // no-referrer would make a browser hide the Origin of our own forms
	"Cache-Control":          "private, no-cache",
}

const (
	maxBody  = 8 << 10 // bytes of a form
	maxQuery = 2 << 10 // bytes after the ?
)

// guarded wraps a handler in what every request passes first: headers, size, the
// host asked for, and where a write comes from.
//
// Without a password only addresses and localhost will do as a host: other sites
// could else read an open page through a name of theirs that they point at this
// machine.
// The answer is compressed where the visitor takes that.
func (p *Page) guarded(h http.Handler) http.Handler {
	origin := http.NewCrossOriginProtection()
	origin.SetDenyHandler(p.answer(func(*visit) error {
		return refuse(http.StatusForbidden, "This came from another site, so nothing was done.")
	}))
	h = origin.Handler(h)
	bounded := p.answer(func(v *visit) error {
		switch r := v.r; {
		case len(r.URL.RawQuery) > maxQuery || len(r.URL.Path) > maxQuery:
			return refuse(http.StatusRequestURITooLong, "That address is too long.")
		case !p.locked() && !plainHost(r.Host):
			return refuse(http.StatusMisdirectedRequest,
				"Under the name %s the page answers only when it has a password. Use this machine's address, or set one.", clip(r.Host, 80))
		}
		v.r.Body = http.MaxBytesReader(v.w, v.r.Body, maxBody)
		h.ServeHTTP(v.w, v.r)
		return nil
	})
	return p.compressed(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer p.survive(w, r)
		for name, value := range headers {
			w.Header().Set(name, value)
		}
		bounded.ServeHTTP(w, r)
	}))
}

// survive turns a panic of ours into an answer: one bad page must not cost the
// daemon, nor leave a visitor without a word.
func (p *Page) survive(w http.ResponseWriter, r *http.Request) {
	switch v := recover(); v {
	case nil:
	case http.ErrAbortHandler:
		panic(v)
	default:
		p.cfg.Log.Error("page panic", "path", shownPath(r), "panic", v, "stack", string(debug.Stack()))
		http.Error(w, "Something went wrong here. It has been noted in the daemon's log.", http.StatusInternalServerError)
	}
}

func plainHost(host string) bool {
	name, _, err := net.SplitHostPort(host)
	if err != nil {
		name = strings.Trim(host, "[]")
	}
	_, err = netip.ParseAddr(name)
	return err == nil || loopback.Is(name)
}
