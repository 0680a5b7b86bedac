package notify

import (
	"context"
	"errors"
	"net/url"
	"regexp"
	"strings"
	"time"

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
	service types.Service
	secrets []string // parts of the URL, never shown
	call    *pushing
}

// A pushing is one call that has not come back.
type pushing struct {
	letter string
	done   chan error
}

// newPusher checks the URL without showing it.
func newPusher(cfg Config, src Sources, t Teller) (*pusher, error) {
	service, err := (&router.ServiceRouter{}).Locate(strings.TrimSpace(t.URL))
	if err != nil {
		return nil, errors.New("the push service's URL is not understood: " + hidden(err.Error(), secretsIn(t.URL)))
	}
	return &pusher{cfg: cfg, src: src, service: service, secrets: secretsIn(t.URL)}, nil
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
	go func() { call.done <- p.service.Send(text, &types.Params{}) }()
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

// secretsIn lists what must not be shown of a URL: everything but its scheme.
func secretsIn(raw string) []string {
	out := []string{raw}
	u, err := url.Parse(strings.TrimSpace(raw))
	if err != nil {
		return out
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
	said = anyURL.ReplaceAllString(said, "(address)")
	for _, s := range secrets {
		if len(s) >= 4 {
			said = strings.ReplaceAll(said, s, "(secret)")
		}
	}
	return oneLine(said, 300)
}
