package page

import (
	"context"
	"encoding/base64"
	"net/http"
	"time"

	"binwatchd/internal/farm"
)

// actWithin bounds a write: an SD card may be slow, not this slow.
const actWithin = 20 * time.Second

// act hands one event on and answers with the page the form came from. A form
// that comes a second time is not carried out again.
func (p *Page) act(w http.ResponseWriter, r *http.Request, in fields, e farm.Event, said string) error {
	back := localPath(in.get("back"), "/")
	token := in.get("once")
	if !p.once.First(token) {
		p.say(w, "That was written already; nothing was written twice.")
		http.Redirect(w, r, back, http.StatusSeeOther)
		return nil
	}
	e.Arrived = p.cfg.Now()
	// Not the request's own context alone: a phone that loses its network
	// after sending must not leave a line half written.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(r.Context()), actWithin)
	defer cancel()
	if err := p.cfg.Act(ctx, e); err != nil {
		p.once.Forget(token)
		p.cfg.Log.Error("page write", "kind", e.Kind, "error", err)
		return refuse(http.StatusServiceUnavailable, "It could not be written just now, and nothing was noted. Try again in a minute.")
	}
	p.say(w, said)
	http.Redirect(w, r, back, http.StatusSeeOther)
	return nil
}

const saidCookie = "binwatch_said"

// say leaves one sentence for the next page, in a cookie that lasts a minute.
func (p *Page) say(w http.ResponseWriter, sentence string) {
	p.setCookie(w, saidCookie, base64.RawURLEncoding.EncodeToString([]byte(sentence)), 60)
}

// said takes the sentence left for this page, once.
func (p *Page) said(w http.ResponseWriter, r *http.Request) string {
	v := cookieOf(r, saidCookie)
	if v == "" || len(v) > 600 {
		return ""
	}
	p.setCookie(w, saidCookie, "", -1)
	b, err := base64.RawURLEncoding.DecodeString(v)
	if err != nil {
		return ""
	}
	return string(b)
}
