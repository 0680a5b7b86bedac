package influx

import (
	"io"
	"net/http"
	"strings"
	"time"
)

// Judged is what becomes of a server's refusal.
func Judged(status int, retry string, body []byte, now time.Time) (said string, wait time.Duration, dropped int, passes bool) {
	h := http.Header{}
	h.Set("Retry-After", retry)
	a := judge(&http.Response{StatusCode: status, Header: h, Body: io.NopCloser(strings.NewReader(string(body)))}, now)
	return a.said, a.wait, a.dropped, a.verdict == away
}
