package notify

import (
	"context"
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/nicholas-fedor/shoutrrr/pkg/router"
	"github.com/nicholas-fedor/shoutrrr/pkg/types"
)

// A pusher sends the short form of a letter through the service that the
// keeper's URL names. The services take no context and some have no time
// limit, so each call has a goroutine of its own and one that hangs is waited
// for rather than doubled: its late success counts, and until it ends the
// letter has no answer.
type pusher struct {
	cfg     Config
	src     Sources
	url     string
	service types.Service // nil: not set up yet
	secrets []string      // parts of the URL, never shown
	call    *pushing
}

// A pushing is one call that has not come back.
type pushing struct {
	letter string
	done   chan error
}

// newPusher checks the URL without showing it. A service that signs in when it
// is set up is set up when it is first needed: the daemon must start without it.
func newPusher(cfg Config, src Sources, t Teller) (*pusher, error) {
	p := &pusher{cfg: cfg, src: src, url: strings.TrimSpace(t.URL), secrets: secretsIn(t.URL)}
	scheme, _, _ := strings.Cut(p.url, "://")
	if signsIn[strings.ToLower(scheme)] {
		return p, nil
	}
	if err := p.setUp(); err != nil {
		return nil, fmt.Errorf("the push address is not understood: %s. %s", hidden(err.Error(), p.secrets), addressForms())
	}
	return p, nil
}

// signsIn are the services of the library that call their server when they are
// set up.
var signsIn = map[string]bool{"matrix": true}

func (p *pusher) setUp() (err error) {
	p.service, err = (&router.ServiceRouter{}).Locate(p.url)
	return err
}

// addressForms says how a push address is written. A keeper who pastes the
// address of a web page has nothing to go by otherwise.
func addressForms() string {
	known := (&router.ServiceRouter{}).ListServices()
	known = slices.DeleteFunc(known, func(s string) bool { return s == "logger" }) // tells nobody
	slices.Sort(known)
	return "It begins with the name of a service and holds what that asks for, as in SERVICE://KEY@HOST/TOPIC; the address of a program of your own, " +
		"https://HOST/PATH, is written generic://HOST/PATH (for plain http add ?disabletls=yes). Known services: " + strings.Join(known, ", ")
}

func (p *pusher) carry(ctx context.Context, l letter, now time.Time) answer {
	if p.call == nil || p.call.letter != l.id {
		if p.call != nil && !ended(p.call.done) {
			return answer{verdict: unreachable, said: "the push service still has not answered the last attempt"}
		}
		p.call = p.push(l.id, newWriter(p.cfg, p.src, now).short(l))
	}
	select {
	case err := <-p.call.done:
		p.call = nil
		return p.answer(err)
	case <-ctx.Done():
		return answer{verdict: unanswered, said: "the push service did not answer in time"}
	}
}

// push calls the service. The subject is the first line of the text, not a
// title beside it: a service that knows no title refuses the whole message.
func (p *pusher) push(letter, text string) *pushing {
	call := &pushing{letter: letter, done: make(chan error, 1)}
	go func() {
		if p.service == nil {
			if err := p.setUp(); err != nil {
				p.service = nil
				call.done <- err
				return
			}
		}
		call.done <- p.service.Send(text, &types.Params{})
	}()
	return call
}

func ended(done chan error) bool {
	select {
	case <-done:
		return true
	default:
		return false
	}
}

func (p *pusher) answer(err error) answer {
	if err != nil {
		return answer{verdict: unreachable, said: hidden(err.Error(), p.secrets)}
	}
	return answer{verdict: accepted, said: "taken by the push service"}
}

// secretsIn lists what must not be shown of a URL: everything but its scheme. Of
// one that can't be parsed any part may be the secret.
func secretsIn(raw string) []string {
	raw = strings.TrimSpace(raw)
	out := []string{raw, strconv.Quote(raw)}
	u, err := url.Parse(raw)
	if err != nil {
		_, rest, found := strings.Cut(raw, "://")
		if !found {
			rest = raw
		}
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
