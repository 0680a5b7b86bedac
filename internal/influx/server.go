package influx

import (
	"cmp"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"time"

	influxhttp "github.com/influxdata/influxdb-client-go/v2/api/http"

	"binwatchd/internal/backoff"
)

// A server is the database at the other end.
type server struct {
	cfg     Config
	client  *http.Client       // the connections
	service influxhttp.Service // of the vendor's client: authorization and requests
	writes  string             // the address to write to
	name    string             // in a sentence: its host is what a keeper knows it by
}

// newServer prepares the client; nothing is sent. The client's write interface
// knows version 2 alone, and hides the answers by which bad rows are told from a
// server in trouble; its HTTP service carries any request and hands the answer over
// as it came.
func newServer(cfg Config) *server {
	client := &http.Client{
		Transport: cfg.Transport,
		Timeout:   cfg.Pace.Timeout,
		// A redirect would carry the readings, perhaps without their password,
		// to where nobody asked for them.
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
	if cfg.Transport == nil {
		tc := &tls.Config{MinVersion: tls.VersionTLS12}
		if cfg.TLS != nil {
			tc = cfg.TLS.Clone()
		}
		tc.Time = cfg.CertTime
		client.Transport = &http.Transport{
			Proxy: http.ProxyFromEnvironment, IdleConnTimeout: 90 * time.Second, ForceAttemptHTTP2: true, TLSClientConfig: tc,
		}
	}
	path, query, auth := "/api/v2/write", url.Values{"precision": {"ms"}, "org": {cfg.Org}, "bucket": {cfg.Bucket}}, ""
	if cfg.Token != "" {
		auth = "Token " + cfg.Token
	}
	if cfg.Flavour == V1 {
		path, query, auth = "/write", url.Values{"precision": {"ms"}, "db": {cfg.Database}}, ""
		if cfg.Retention != "" {
			query.Set("rp", cfg.Retention)
		}
		if cfg.User != "" {
			r := http.Request{Header: http.Header{}}
			r.SetBasicAuth(cfg.User, cfg.Password)
			auth = r.Header.Get("Authorization")
		}
	}
	return &server{
		cfg:     cfg,
		client:  client,
		service: influxhttp.NewService(cfg.URL, auth, influxhttp.DefaultOptions().SetHTTPClient(client).SetApplicationName("binwatchd")),
		writes:  strings.TrimSuffix(cfg.URL, "/") + path + "?" + query.Encode(),
		name:    "InfluxDB at " + cfg.host,
	}
}

// verdict is what an answer means for the rows that were sent.
type verdict int

const (
	accepted verdict = iota
	away             // no answer, or trouble that passes by itself
	refused          // the keeper has to mend something
	tooBig           // fewer rows at a time
	badRows          // some of the rows, or all; the good ones are stored
	unclear          // refused for a reason that may lie in a row, or not
)

// ofRows tells whether single rows may be at fault.
func (v verdict) ofRows() bool { return v == badRows || v == unclear }

// An answer is what came of one request.
type answer struct {
	verdict verdict
	status  int           // HTTP status; 0 when nothing answered
	said    string        // the server's words on one line, or what hindered us
	wait    time.Duration // the server asks us to stay away so long; 0 when it doesn't
	remedy  string        // what the keeper has to change, where that is known already
	dropped int           // how many rows the server says it left out; 0 when it doesn't say
}

// tooOld tells that the rows lie before what the database keeps: they will never
// be taken, and nothing is wrong with the database.
func (a answer) tooOld() bool { return strings.Contains(a.said, "retention policy") }

// post sends lines in one request and says what came of it.
func (s *server) post(ctx context.Context, lines string) answer {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, s.writes, strings.NewReader(lines))
	if err != nil {
		return unanswered(err)
	}
	req.Header.Set("Content-Type", "text/plain; charset=utf-8")
	resp, err := s.service.DoHTTPRequestWithResponse(req, nil)
	if err != nil {
		return unanswered(err)
	}
	defer resp.Body.Close()
	return judge(resp, s.cfg.Now())
}

// unanswered judges a request that got no answer.
func unanswered(err error) answer {
	if errors.Is(err, context.DeadlineExceeded) {
		return answer{verdict: away, said: "no answer in time"}
	}
	// The address that net/http puts before an error says nothing that the keeper
	// has not written.
	if ue := (*url.Error)(nil); errors.As(err, &ue) {
		err = ue.Err
	}
	a := answer{verdict: away, said: oneLine(err.Error())}
	if a.remedy = remedyOf(err); a.remedy != "" {
		a.verdict = refused
	}
	return a
}

// What only the keeper can mend of a connection.
const (
	wantsTLS   = "What listens there speaks TLS: begin url under influx with https://."
	wantsPlain = "What listens there speaks no TLS: begin url under influx with http://."
	wantsCA    = "Its certificate is signed by an authority that this machine does not know: name that authority's certificate with ca under influx."
	wantsName  = "Its certificate is for another name: put the name that it is for into url under influx."
	wantsCert  = "It asks for a client certificate: give cert and key under influx, signed by an authority that it knows."
)

// remedyOf says what to change where a connection can never come about as it is
// configured; "" is trouble that may pass by itself. The library gives no type to the
// last three, so its words decide; those of the alerts are RFC 8446's.
func remedyOf(err error) string {
	var name x509.HostnameError
	var signed x509.UnknownAuthorityError
	said := err.Error()
	switch {
	case errors.Is(err, http.ErrSchemeMismatch), strings.Contains(said, "first record does not look like a TLS handshake"):
		return wantsPlain
	case errors.As(err, &signed):
		return wantsCA
	case errors.As(err, &name):
		return wantsName
	case strings.Contains(said, `malformed HTTP response "\x15\x03`): // a TLS alert
		return wantsTLS
	case strings.Contains(said, "tls: certificate required"), strings.Contains(said, "tls: bad certificate"), strings.Contains(said, "tls: unknown certificate authority"):
		return wantsCert
	}
	return ""
}

// mostSaid bounds how much of an error is read, in bytes, and shown, in runes.
const (
	mostSaid  = 64 << 10
	mostShown = 300
)

// judge reads an answer; now dates a Retry-After.
func judge(resp *http.Response, now time.Time) answer {
	// An error on the way leaves what came so far, which is enough to show.
	body, _ := io.ReadAll(io.LimitReader(resp.Body, mostSaid))
	if resp.StatusCode/100 == 2 {
		// No database answers so, but a login page of the network or a wrong port does.
		if kind, _, _ := mime.ParseMediaType(resp.Header.Get("Content-Type")); kind == "text/html" {
			return answer{verdict: refused, said: "answers with a web page, so it is not an InfluxDB"}
		}
		return answer{}
	}
	said := string(body)
	var words struct{ Message, Error string } // of version 2 and of version 1
	if json.Unmarshal(body, &words) == nil {
		said = cmp.Or(words.Message, words.Error)
	}
	a := answer{status: resp.StatusCode, wait: backoff.RetryAfter(resp.Header, now)}
	a.said = cmp.Or(oneLine(said), http.StatusText(a.status))
	a.verdict = verdictOf(a.status, a.said)
	if a.status == http.StatusBadRequest && toTLS.MatchString(a.said) {
		a.verdict, a.remedy = refused, wantsTLS
	}
	if a.verdict == badRows {
		a.dropped = droppedIn(said)
	}
	return a
}

// toTLS is how servers answer plain HTTP where they want TLS: Go's, and so
// InfluxDB's, and nginx.
var toTLS = regexp.MustCompile(`(?i)HTTP request (was sent )?to (an )?HTTPS (server|port)`)

func verdictOf(status int, said string) verdict {
	switch {
	case status == http.StatusRequestEntityTooLarge:
		return tooBig
	case status == http.StatusBadRequest, status == http.StatusUnprocessableEntity:
		// The words with which the servers refuse single rows, seen in answers of
		// InfluxDB 1.6.7; those of 2.x are from memory.
		for _, words := range []string{"partial write", "unable to parse", "field type conflict",
			"beyond retention policy", "outside retention policy"} {
			if strings.Contains(said, words) {
				return badRows
			}
		}
		return unclear
	case status == http.StatusTooManyRequests, status == http.StatusRequestTimeout:
		return away
	// InfluxDB 1.x answers so when the retention policy does not exist.
	case status >= 500 && !strings.HasPrefix(said, "retention policy not found"):
		return away
	}
	return refused
}

// droppedCount is "dropped=3" (1.x, and 2.x at first) or "dropped 3 points"
// (later 2.x, from memory).
var droppedCount = regexp.MustCompile(`dropped[= ](\d+)`)

func droppedIn(message string) int {
	found := droppedCount.FindAllStringSubmatch(message, -1)
	if len(found) == 0 {
		return 0
	}
	n, err := strconv.Atoi(found[len(found)-1][1]) // the count stands at the end
	if err != nil {
		return 0
	}
	return n
}

// oneLine makes text fit for a message: no control characters, no runs of
// spaces, and not too long.
func oneLine(text string) string {
	r := []rune(strings.Join(strings.Fields(plain(text)), " "))
	if len(r) > mostShown {
		return string(r[:mostShown]) + "…"
	}
	return string(r)
}

// words are what was said, with the status that a person can look up.
func (a answer) words() string {
	if a.status == 0 {
		return a.said
	}
	return fmt.Sprintf("%d: %s", a.status, a.said)
}
