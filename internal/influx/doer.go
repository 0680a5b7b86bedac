package influx

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"mime"
	"net/http"
	"strings"
)

// A doer carries the client library's requests. The library speaks only
// version 2 of the write interface; for a version 1 server the doer puts the
// request into that server's terms. It also tames the answers: the library
// would read an error of any length, and misses the text of version 1's.
type doer struct {
	client  *http.Client
	rewrite func(*http.Request) // nil: the request goes as it is
}

// errWebPage is an answer that no database gives, but a login page of the
// network or a wrong port does. The library would take it for a success.
var errWebPage = errors.New("answers with a web page, so it is not an InfluxDB")

// Do sends a request of the library.
func (d doer) Do(req *http.Request) (*http.Response, error) {
	if d.rewrite != nil {
		d.rewrite(req)
	}
	resp, err := d.client.Do(req)
	if err != nil {
		return nil, err
	}
	if resp.StatusCode/100 != 2 {
		return tamed(resp), nil
	}
	if kind, _, _ := mime.ParseMediaType(resp.Header.Get("Content-Type")); kind == "text/html" {
		resp.Body.Close()
		return nil, errWebPage
	}
	return resp, nil
}

// toV1 gives the rewriting from /api/v2/write to the /write of InfluxDB 1.x.
func toV1(cfg Config) func(*http.Request) {
	return func(req *http.Request) {
		req.URL.Path = strings.TrimSuffix(req.URL.Path, "/api/v2/write") + "/write"
		q := req.URL.Query()
		q.Del("org")
		q.Del("bucket")
		q.Set("db", cfg.Database)
		if cfg.Retention != "" {
			q.Set("rp", cfg.Retention)
		}
		req.URL.RawQuery = q.Encode()
		if cfg.User != "" {
			req.SetBasicAuth(cfg.User, cfg.Password)
		}
	}
}

// mostSaid bounds how much of an error is read, in bytes, and shown, in runes.
const (
	mostSaid  = 64 << 10
	mostShown = 300
)

// tamed replaces an error's body by one that the library reads rightly, made
// of the server's own words.
func tamed(resp *http.Response) *http.Response {
	// An error on the way leaves what came so far, which is enough to show.
	body, _ := io.ReadAll(io.LimitReader(resp.Body, mostSaid))
	resp.Body.Close()
	plain, err := json.Marshal(map[string]string{"code": resp.Status, "message": words(body)})
	if err != nil { // two strings always encode
		plain = []byte("{}")
	}
	resp.Body = io.NopCloser(bytes.NewReader(plain))
	resp.ContentLength = int64(len(plain))
	resp.Header.Set("Content-Type", "application/json")
	return resp
}

// words finds what a server says in the body of an error: message in version
// 2, error in version 1, else the body itself.
func words(body []byte) string {
	var said struct{ Message, Error string }
	if json.Unmarshal(body, &said) == nil {
		if said.Message != "" {
			return said.Message
		}
		return said.Error
	}
	return string(body)
}

// oneLine makes text fit for a message: no control characters, no runs of
// spaces, and not too long.
func oneLine(text string) string {
	r := []rune(strings.Join(strings.Fields(tame(text)), " "))
	if len(r) > mostShown {
		return string(r[:mostShown]) + "…"
	}
	return string(r)
}
