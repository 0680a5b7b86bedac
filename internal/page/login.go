package page

import (
	"net/http"
	"net/url"
	"strings"

	"binwatchd/internal/farm"
	"binwatchd/internal/page/auth"
)

// known lets only those in who gave the password, where there is one.
func (p *Page) known(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case p.inside(r):
			h.ServeHTTP(w, r)
		case forPrograms(r) || (r.Method != http.MethodGet && r.Method != http.MethodHead):
			p.showRefusal(w, r, refuse(http.StatusUnauthorized, "Log in first, at /login."))
		default:
			http.Redirect(w, r, "/login?next="+url.QueryEscape(r.URL.RequestURI()), http.StatusSeeOther)
		}
	})
}

// inside tells whether a request may see the farm.
func (p *Page) inside(r *http.Request) bool {
	return !p.locked || p.sessions.Known(cookieOf(r, p.sessionName()), p.cfg.Now())
}

type loginPage struct {
	shell
	Next, Wrong string
}

func (p *Page) showLogin(w http.ResponseWriter, r *http.Request) error {
	next := localPath(r.URL.Query().Get("next"), "/")
	if !p.locked {
		http.Redirect(w, r, next, http.StatusSeeOther)
		return nil
	}
	return p.show(w, http.StatusOK, "login", loginPage{shell: p.outside(), Next: next})
}

// login weighs a password. Tries are counted before it is weighed, and only
// one is weighed at a time, since the hash is meant to be costly.
func (p *Page) login(w http.ResponseWriter, r *http.Request, in fields) error {
	next := localPath(in.get("next"), "/")
	if !p.locked {
		http.Redirect(w, r, next, http.StatusSeeOther)
		return nil
	}
	if wait, ok := p.tries.Take(r.RemoteAddr, p.cfg.Now()); !ok {
		return &refusal{status: http.StatusTooManyRequests, wait: wait,
			sentence: "Too many tries. Wait " + farm.SayLong(wait) + " and try again."}
	}
	right, err := p.weigh(r, in.get("password"))
	if err != nil {
		return err
	}
	if !right {
		p.cfg.Log.Warn("page login refused", "from", r.RemoteAddr)
		return p.show(w, http.StatusUnauthorized, "login", loginPage{shell: p.outside(), Next: next, Wrong: "That is not the password."})
	}
	p.tries.Forgive(r.RemoteAddr)
	p.setCookie(w, p.sessionName(), p.sessions.Open(p.cfg.Now()), int(auth.SessionLife.Seconds()))
	http.Redirect(w, r, next, http.StatusSeeOther)
	return nil
}

func (p *Page) weigh(r *http.Request, try string) (bool, error) {
	select {
	case p.hashing <- struct{}{}:
		defer func() { <-p.hashing }()
		return p.password.Matches(try), nil
	case <-r.Context().Done():
		return false, refuse(http.StatusServiceUnavailable, "Busy with another login. Try again.")
	}
}

func (p *Page) logout(w http.ResponseWriter, r *http.Request) error {
	p.sessions.Close(cookieOf(r, p.sessionName()))
	p.setCookie(w, p.sessionName(), "", -1)
	http.Redirect(w, r, "/login", http.StatusSeeOther)
	return nil
}

// outside is the shell of a page for those who are not in yet: it names no
// farm.
func (p *Page) outside() shell {
	return shell{Title: "Log in", files: &p.files}
}

// sessionName carries the __Host- prefix where it may: the browser then holds
// the cookie to this host and to TLS.
func (p *Page) sessionName() string {
	if p.cfg.TLS {
		return "__Host-binwatch"
	}
	return "binwatch"
}

// setCookie sets a cookie no script can read and no other site can make the
// browser send. maxAge is in seconds; below zero it deletes the cookie.
func (p *Page) setCookie(w http.ResponseWriter, name, value string, maxAge int) {
	http.SetCookie(w, &http.Cookie{
		Name: name, Value: value, Path: "/", MaxAge: maxAge,
		HttpOnly: true, Secure: p.cfg.TLS, SameSite: http.SameSiteStrictMode,
	})
}

func cookieOf(r *http.Request, name string) string {
	c, err := r.Cookie(name)
	if err != nil {
		return ""
	}
	return c.Value
}

// localPath is s when it leads to a page of ours, else instead. A browser
// takes a backslash for a slash and drops tabs and newlines, so none may pass.
func localPath(s, instead string) string {
	if !strings.HasPrefix(s, "/") || len(s) > 200 || strings.ContainsAny(s, "\\\t\r\n") {
		return instead
	}
	u, err := url.Parse(s)
	if err != nil || u.Host != "" || u.Scheme != "" || strings.HasPrefix(s, "//") {
		return instead
	}
	return s
}
