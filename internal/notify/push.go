package notify

import (
	"context"
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"github.com/nicholas-fedor/shoutrrr/pkg/router"
	"github.com/nicholas-fedor/shoutrrr/pkg/types"

	"binwatchd/internal/farm"
)

// A pusher sends the short form of a bundle through the service that the
// keeper's URL names. The services take no context and some have no time
// limit, so each call has a goroutine of its own and one that hangs is waited
// for rather than doubled: its late success counts, and until it ends the
// bundle has no answer.
type pusher struct {
	url     string
	service types.Service // nil: not set up yet
	secrets []string      // parts of the URL, never shown
	bundle  string        // that the last call is about
	done    chan error    // of a call whose end was not seen yet; nil: there is none
}

// tellsNobody is a service of the library for its own tests.
const tellsNobody = "logger"

// newPusher checks the URL without showing it. A service that signs in when it
// is set up is set up when it is first needed: the daemon must start without it.
func newPusher(t Teller) (*pusher, error) {
	p := &pusher{url: strings.TrimSpace(t.URL), secrets: secretsIn(t.URL)}
	scheme, rest, _ := strings.Cut(p.url, ":")
	name, _, _ := strings.Cut(strings.ToLower(scheme), "+") // generic+https is of generic
	wrong := ""
	switch place, bad := url.Parse(rest); {
	case name == "matrix": // the one that calls its server when it is set up
	case name == tellsNobody:
		wrong = "tells nobody: " + tellsNobody + " only writes into a log"
	case name == "generic" && bad == nil && place.Hostname() == "":
		wrong = "tells nobody: it names no host"
	default:
		if err := p.setUp(); err != nil {
			wrong = "is not understood: " + hidden(err.Error(), p.secrets)
		}
	}
	if wrong != "" {
		return nil, fmt.Errorf("the push address %s. %s", wrong, addressForms())
	}
	return p, nil
}

func (p *pusher) setUp() error {
	service, err := (&router.ServiceRouter{}).Locate(p.url)
	if err == nil {
		p.service = service
	}
	return err
}

// addressForms says how a push address is written. A keeper who pastes the
// address of a web page has nothing to go by otherwise.
func addressForms() string {
	known := (&router.ServiceRouter{}).ListServices()
	known = slices.DeleteFunc(known, func(s string) bool { return s == tellsNobody })
	slices.Sort(known)
	return "It begins with the name of a service and holds what that asks for, as in SERVICE://KEY@HOST/TOPIC; the address of a program of your own, " +
		"https://HOST/PATH, is written generic://HOST/PATH (for plain http add ?disabletls=yes). Known services: " + strings.Join(known, ", ")
}

func (p *pusher) send(ctx context.Context, b bundle, w writer) reply {
	if p.done == nil || p.bundle != b.id {
		if p.done != nil && len(p.done) == 0 {
			return reply{outcome: unreachable, said: "the push service still has not answered the last attempt"}
		}
		p.bundle, p.done = b.id, p.call(w.short(b))
	}
	select {
	case err := <-p.done:
		p.done = nil
		if err != nil {
			return reply{outcome: unreachable, said: hidden(err.Error(), p.secrets)}
		}
		return reply{outcome: accepted, said: "taken by the push service"}
	case <-ctx.Done():
		return reply{outcome: unanswered, said: "the push service did not answer in time"}
	}
}

// call calls the service, and gives what tells how that ended. The subject is the
// first line of the text, not a title beside it: a service that knows no title
// refuses the whole message.
func (p *pusher) call(text string) chan error {
	done := make(chan error, 1)
	go func() {
		var err error
		if p.service == nil {
			err = p.setUp()
		}
		if err == nil {
			err = p.service.Send(text, &types.Params{})
		}
		done <- err
	}()
	return done
}

// secretsIn lists what must not be shown of a URL: everything but its scheme. Of
// one that can't be parsed any part may be the secret.
func secretsIn(raw string) []string {
	raw = strings.TrimSpace(raw)
	out := []string{raw, strconv.Quote(raw)}
	u, err := url.Parse(raw)
	if err != nil {
		rest := raw[strings.Index(raw, "://")+1:]
		return append(out, strings.FieldsFunc(rest, func(r rune) bool { return unicode.IsSpace(r) || strings.ContainsRune(`:/@?&=#"'`, r) })...)
	}
	out = append(out, u.Host, u.Hostname(), u.Path, u.EscapedPath(), u.RawQuery, u.Fragment)
	if u.User != nil {
		password, _ := u.User.Password()
		out = append(out, u.User.String(), u.User.Username(), password)
	}
	out = append(out, strings.Split(u.Path, "/")...)
	for _, values := range u.Query() {
		for _, v := range values {
			out = append(out, v, url.QueryEscape(v))
		}
	}
	return out
}

var anyURL = regexp.MustCompile(`[A-Za-z][A-Za-z0-9+.-]*://[^\s"']*`)

// hidden takes URLs and secrets out of what a library said. It would rather
// hide too much.
func hidden(said string, secrets []string) string {
	// The longest first: a part of it may be a secret too, and would leave the rest.
	secrets = slices.SortedFunc(slices.Values(secrets), func(a, b string) int { return len(b) - len(a) })
	for _, s := range secrets {
		if len(s) >= 4 {
			said = strings.ReplaceAll(said, s, "(secret)")
		}
	}
	return oneLine(anyURL.ReplaceAllString(said, "(address)"), 300)
}

// short is a bundle as a push: what, where and what to do, and nothing that a
// lock screen would cut off.
func (w writer) short(b bundle) string {
	const named = 5 // items before the rest is counted
	items := w.current(b)
	w.known = b.known
	if len(items) == 1 && !w.isCause(items) {
		return w.shortItem(items[0])
	}
	live, gone := livePart(items)
	all := w.sections(live)
	lines := []string{w.severalSubject(all, gone)}
	if first := w.severalFirst(all); len(all) == 1 || all[0].said != nil {
		lines = append(lines, first)
	}
	for i, s := range all {
		switch {
		case i == named:
			lines = append(lines, "and "+things(len(all)-i)+" more")
		case i > named:
		case s.said == nil:
			line := "• " + w.title(s)
			if !s.over() {
				line += ". " + w.do(s)
			}
			lines = append(lines, line)
		default:
			if len(all) > 1 {
				lines = append(lines, "• "+w.whole(s))
			}
			lines = append(lines, s.said.News...)
			if more := len(s.said.List) - len(s.said.News); more > 0 {
				lines = append(lines, fmt.Sprintf("and %d told before", more))
			}
		}
	}
	if len(gone) > 0 && len(live) > 0 {
		lines = append(lines, farm.Capital(things(len(gone)))+" came and went before it could be told.")
	}
	return strings.Join(lines, "\n")
}

func (w writer) shortItem(it item) string {
	lines := []string{w.subject(it)}
	switch it.say {
	case cameWent:
		lines = append(lines, w.cameWentLine(it)+overUntold)
	case over:
		lines = append(lines, w.howItWas(it.last.Change))
	default:
		lines = append(lines, w.doing(it))
		// The subject says only the middle of a forecast's interval.
		if f := it.last.Change.Forecast; f != nil && !f.Earliest.IsZero() {
			lines = append(lines, "It may be as soon as "+bare(w.time(f.Earliest))+".")
		}
	}
	return strings.TrimSpace(strings.Join(lines, "\n"))
}
