package influx

import (
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"time"

	influxhttp "github.com/influxdata/influxdb-client-go/v2/api/http"
)

// Judged is what becomes of a server's refusal on its way through doer and
// library.
func Judged(status int, retry string, body []byte, now time.Time) (said string, wait time.Duration, dropped int, passes bool) {
	h := http.Header{}
	h.Set("Retry-After", retry)
	resp := tamed(&http.Response{StatusCode: status, Status: http.StatusText(status), Header: h, Body: io.NopCloser(strings.NewReader(string(body)))})
	e := &influxhttp.Error{StatusCode: status, Header: resp.Header}
	if err := json.NewDecoder(resp.Body).Decode(e); err != nil {
		panic("the library can't read what it is given: " + err.Error())
	}
	a := judge(e, now)
	return a.said, a.wait, a.dropped, a.verdict == away
}
