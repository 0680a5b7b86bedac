package page

import (
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"binwatchd/internal/farm"
	"binwatchd/internal/page/auth"
)

// known lets only those in who gave the password, where there is one.
func (p *Page) known(h http.Handler) http.Handler {
	return p.answer(func(v *visit) error {
		switch {
		case v.inside():
			h.ServeHTTP(v.w, v.r)
			return nil
		case !v.forProgram() && v.r.Method == http.MethodPost && v.r.URL.Path == "/jot":
			return v.askWho()
		case v.forProgram() || v.writes():
			return refuse(http.StatusUnauthorized, "Log in first, at /login.")
		}
		return v.redirect("/login?next=" + url.QueryEscape(v.r.URL.RequestURI()))
	})
}

// inside tells whether a request may see the farm.
func (v *visit) inside() bool {
	if !v.locked() {
		return true
	}
	door := v.entry.Load()
	if token, shown := strings.CutPrefix(v.r.Header.Get("Authorization"), "Bearer "); shown {
		who, ok := door.Bearer(token)
		v.who = who.Name
		return ok
	}
	token := v.cookie(v.sessionName())
	who, ok := v.sessions.Known(token, v.now)
	if !ok {
		return false
	}
	if who, ok = door.Holds(who); !ok {
		v.sessions.Close(token)
	}
	v.who = who.Name
	return ok
}

// askWho asks for the password of somebody whose login has run out with a line of the
// logbook in hand: it waits in the form, and is written after.
func (v *visit) askWho() (err error) {
	if v.in, err = v.read(); err != nil {
		return err
	}
	return v.show(http.StatusUnauthorized, "login", loginPage{visit: v, Next: localPath(v.in["back"]), Kept: v.in})
}

// A loginPage is for those who are not in yet: it names no farm.
type loginPage struct {
	*visit
	Next, Wrong string
	Kept        fields // of a line of the logbook that waits for the login
}

// Named tells whether the name is asked for, as some have passwords of their own.
func (l loginPage) Named() bool { return l.entry.Load().Named() }

// loginFields are those of the login itself.
var loginFields = []string{"password", "next", "who"}

func (v *visit) showLogin() error {
	next := localPath(v.r.URL.Query().Get("next"))
	if !v.locked() {
		return v.redirect(next)
	}
	return v.show(http.StatusOK, "login", loginPage{visit: v, Next: next})
}

// login weighs a password. Tries are counted before it is weighed, and only
// one is weighed at a time, since the hash is meant to be costly.
func (v *visit) login() error {
	next := localPath(v.in["next"])
	kept := maps.Clone(v.in)
	maps.DeleteFunc(kept, func(name, _ string) bool { return slices.Contains(loginFields, name) })
	if !v.locked() {
		return v.redirect(next)
	}
	if wait, ok := v.tries.Take(v.r.RemoteAddr, v.now); !ok {
		return &refusal{http.StatusTooManyRequests, "Too many tries. Wait " + farm.SayLong(wait) + " and try again.", wait}
	}
	who, right, err := v.weigh(clip(v.in["who"], longestName), v.in["password"])
	if err != nil {
		return err
	}
	if !right {
		v.cfg.Log.Warn("page login refused", "from", v.r.RemoteAddr)
		page := loginPage{visit: v, Next: next, Wrong: "That is not the password.", Kept: kept}
		if page.Named() {
			page.Wrong = "That name and that password do not belong together."
		}
		return v.show(http.StatusUnauthorized, "login", page)
	}
	v.tries.Forgive(v.r.RemoteAddr)
	v.who = who.Name
	v.setCookie(v.sessionName(), v.sessions.Open(v.now, who), int(auth.SessionLife.Seconds()))
	if len(kept) > 0 {
		return v.jot()
	}
	return v.redirect(next)
}

func (v *visit) weigh(name, try string) (who auth.Visitor, right bool, err error) {
	select {
	case v.hashing <- struct{}{}:
		defer func() { <-v.hashing }()
		who, right = v.entry.Load().Admit(name, try)
		return who, right, nil
	case <-v.r.Context().Done():
		return who, false, refuse(http.StatusServiceUnavailable, "Busy with another login. Try again.")
	}
}

func (v *visit) logout() error {
	v.sessions.Close(v.cookie(v.sessionName()))
	v.setCookie(v.sessionName(), "", -1)
	return v.redirect("/login")
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
func (v *visit) setCookie(name, value string, maxAge int) {
	http.SetCookie(v.w, &http.Cookie{
		Name: name, Value: value, Path: "/", MaxAge: maxAge,
		HttpOnly: true, Secure: v.cfg.TLS, SameSite: http.SameSiteStrictMode,
	})
}

func (v *visit) cookie(name string) string {
	c, err := v.r.Cookie(name)
	if err != nil {
		return ""
	}
	return c.Value
}

// localPath is s when it leads to a page of ours, else the first page. A browser
// takes a backslash for a slash and drops tabs and newlines, so none may pass.
func localPath(s string) string {
	u, err := url.Parse(s)
	if err != nil || u.Host != "" || u.Scheme != "" || !strings.HasPrefix(s, "/") || strings.HasPrefix(s, "//") ||
		len(s) > 200 || strings.ContainsAny(s, "\\\t\r\n") {
		return "/"
	}
	return s
}
