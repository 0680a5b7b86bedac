package influx_test

import (
	"bytes"
	"io"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
)

// A reply is what a fake server says to one request.
type reply struct {
	status int
	body   string
	header map[string]string
	err    error // no answer at all
}

var taken = reply{status: http.StatusNoContent}

// A fake is a server inside the process, so that it can stand in a bubble of
// synthetic time. It answers as its script says and keeps what it took.
type fake struct {
	script func(n int, lines []string) reply // n counts requests from 0

	mu       sync.Mutex
	requests []request
	rows     map[string]bool // lines taken
}

type request struct {
	at    time.Time
	path  string
	query string
	auth  string
	lines []string
}

func (f *fake) RoundTrip(req *http.Request) (*http.Response, error) {
	body, err := io.ReadAll(req.Body)
	if err != nil {
		return nil, err
	}
	lines := strings.Split(strings.TrimSuffix(string(body), "\n"), "\n")
	f.mu.Lock()
	defer f.mu.Unlock()
	n := len(f.requests)
	f.requests = append(f.requests, request{time.Now(), req.URL.Path, req.URL.Query().Encode(), req.Header.Get("Authorization"), lines})
	r := f.script(n, lines)
	if r.err != nil {
		return nil, r.err
	}
	if r.status == http.StatusNoContent {
		f.take(lines)
	}
	resp := &http.Response{StatusCode: r.status, Status: http.StatusText(r.status), Request: req,
		Header: make(http.Header), Body: io.NopCloser(strings.NewReader(r.body))}
	for k, v := range r.header {
		resp.Header.Set(k, v)
	}
	return resp, nil
}

// take keeps lines; the caller holds the lock.
func (f *fake) take(lines []string) {
	if f.rows == nil {
		f.rows = make(map[string]bool)
	}
	for _, l := range lines {
		f.rows[l] = true
	}
}

func (f *fake) seen() []request {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]request(nil), f.requests...)
}

func (f *fake) stored() int { f.mu.Lock(); defer f.mu.Unlock(); return len(f.rows) }

// later lets synthetic time pass, inside a bubble.
func later(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

// waits are the times between the requests.
func (f *fake) waits() []time.Duration {
	var w []time.Duration
	for i, r := range f.seen()[1:] {
		w = append(w, r.at.Sub(f.requests[i].at))
	}
	return w
}

// always answers every request alike.
func always(r reply) func(int, []string) reply { return func(int, []string) reply { return r } }

// first answers the first requests one by one and takes what follows.
func first(rs ...reply) func(int, []string) reply {
	return func(n int, _ []string) reply {
		if n < len(rs) {
			return rs[n]
		}
		return taken
	}
}

// v2 is a configuration for a fake server.
func v2(f *fake) influx.Config {
	return influx.Config{Settings: influx.Settings{URL: "http://influx.example:8086", Flavour: influx.V2, Org: "hillfoot", Bucket: "bins"}, Token: "token-secret", Transport: f, Now: time.Now}
}

func v1(f *fake) influx.Config {
	return influx.Config{Settings: influx.Settings{URL: "http://influx.example:8086", Flavour: influx.V1, Database: "bins",
		User: "keeper"}, Password: "password-secret", Transport: f, Now: time.Now}
}

// troubles collects what the keeper is told.
type troubles struct {
	mu   sync.Mutex
	all  []farm.Trouble
	deaf func() bool // nothing can be noted; nil: never
}

func (t *troubles) tell(one farm.Trouble) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.deaf != nil && t.deaf() {
		return errDisk
	}
	t.all = append(t.all, one)
	return nil
}

func (t *troubles) told() []farm.Trouble {
	t.mu.Lock()
	defer t.mu.Unlock()
	return append([]farm.Trouble(nil), t.all...)
}

// A book collects log lines.
type book struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (b *book) Write(p []byte) (int, error) { b.mu.Lock(); defer b.mu.Unlock(); return b.buf.Write(p) }
func (b *book) text() string                { b.mu.Lock(); defer b.mu.Unlock(); return b.buf.String() }

func (b *book) log() *slog.Logger {
	return slog.New(slog.NewTextHandler(b, &slog.HandlerOptions{Level: slog.LevelDebug}))
}

func wantTold(t *testing.T, got []farm.Trouble, want ...string) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("told %d times, want %d: %+v", len(got), len(want), got)
	}
	for i, w := range want {
		if got[i].Condition != farm.Unforwarded || !strings.Contains(got[i].Text, w) {
			t.Errorf("told %+v, want %q in it", got[i], w)
		}
	}
}
