package notify

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"crypto/tls"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"binwatchd/internal/backoff"
	"binwatchd/internal/farm"
	"binwatchd/internal/loopback"
)

// A webhook posts changes to a program, signed as Standard Webhooks 1.0 has it: the
// id never changes over attempts, the time stamp is that of the attempt, and
// the signature covers both and the body.
type webhook struct {
	url    string
	secret []byte // nil: not signed
	client *http.Client
}

// newWebhook checks the address and the secret of a webhook.
func newWebhook(cfg Config, t Teller) (*webhook, error) {
	u, err := url.Parse(t.URL)
	switch {
	case err != nil || u.Host == "":
		return nil, errors.New("the webhook's address cannot be read")
	case u.Scheme != "https" && (u.Scheme != "http" || !loopback.Is(u.Hostname())):
		return nil, errors.New("a webhook goes over https; plain http only to loopback")
	}
	secret, err := hookSecret(t.Secret)
	return &webhook{url: t.URL, secret: secret, client: plainClient(cfg.CertTime)}, err
}

// plainClient follows no redirect: what is meant for one address is not for
// another to read. Certificates are judged by a clock of its own.
func plainClient(certTime func() time.Time) *http.Client {
	return &http.Client{
		Timeout: 20 * time.Second,
		Transport: &http.Transport{
			Proxy: http.ProxyFromEnvironment, ForceAttemptHTTP2: true, IdleConnTimeout: 90 * time.Second, TLSHandshakeTimeout: 10 * time.Second,
			TLSClientConfig: &tls.Config{MinVersion: tls.VersionTLS12, Time: certTime},
		},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// hookSecret reads a secret as Standard Webhooks 1.0 writes it: base64 after
// whsec_. One without the prefix is read as base64 when it holds the 24 to 64
// bytes that the standard asks for, and is taken as it stands otherwise.
func hookSecret(s string) ([]byte, error) {
	const prefix = "whsec_"
	if s == "" {
		return nil, nil
	}
	coded, ok := strings.CutPrefix(s, prefix)
	key, err := base64.StdEncoding.DecodeString(coded)
	switch {
	case ok && (err != nil || len(key) == 0):
		return nil, errors.New("the webhook's secret is not base64 after whsec_")
	case ok, err == nil && len(key) >= 24 && len(key) <= 64:
		return key, nil
	}
	return []byte(s), nil
}

// hookBody is a change as a webhook carries it.
type hookBody struct {
	ID string `json:"id"`
	farm.Change
	Reminder bool `json:"reminder,omitempty"`
}

func (h *webhook) send(ctx context.Context, b bundle, w writer) reply {
	it := b.items[0]
	body, err := json.Marshal(hookBody{ID: b.id, Change: it.last.Change, Reminder: it.say == still})
	if err != nil {
		return reply{outcome: refused, said: "the change has no JSON form"}
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, h.url, bytes.NewReader(body))
	if err != nil {
		return reply{outcome: refused, said: "the address cannot be read"}
	}
	req.Header.Set("Content-Type", "application/json")
	h.sign(req.Header, b.id, w.now, body)
	resp, err := call(h.client, req)
	if err != nil {
		return reply{outcome: unanswered, said: err.Error()}
	}
	return hookReply(resp, w.now)
}

// sign sets the three headers of Standard Webhooks 1.0.
func (h *webhook) sign(header http.Header, id string, now time.Time, body []byte) {
	stamp := strconv.FormatInt(now.Unix(), 10)
	header.Set("webhook-id", id)
	header.Set("webhook-timestamp", stamp)
	if h.secret == nil {
		return
	}
	mac := hmac.New(sha256.New, h.secret)
	fmt.Fprintf(mac, "%s.%s.%s", id, stamp, body)
	header.Set("webhook-signature", "v1,"+base64.StdEncoding.EncodeToString(mac.Sum(nil)))
}

// hookReply reads a status: 2xx is taken; what speaks of this one body is
// refused; anything else says the place cannot take bodies at present.
func hookReply(resp *http.Response, now time.Time) reply {
	r := reply{said: fmt.Sprintf("%d %s", resp.StatusCode, http.StatusText(resp.StatusCode))}
	switch code := resp.StatusCode; {
	case code/100 == 2:
		r.outcome = accepted
	case code/100 == 3:
		r.outcome = unreachable
		r.said += ": redirects are not followed"
	case code == http.StatusBadRequest, code == http.StatusRequestEntityTooLarge, code == http.StatusUnprocessableEntity:
		r.outcome = refused
	default:
		r.outcome = unreachable
		r.wait = backoff.RetryAfter(resp.Header, now)
	}
	return r
}

// call makes a request and reads the answer's body away, so that the connection
// can be used again. Its error is without the address, which may hold a secret.
func call(client *http.Client, req *http.Request) (*http.Response, error) {
	req.Header.Set("User-Agent", "binwatchd")
	resp, err := client.Do(req)
	if err != nil {
		if u := new(url.Error); errors.As(err, &u) {
			err = u.Err
		}
		return nil, err
	}
	defer resp.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(resp.Body, 64<<10))
	return resp, nil
}
