package influx

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"time"

	influxhttp "github.com/influxdata/influxdb-client-go/v2/api/http"
)

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

// An answer is what came of one request.
type answer struct {
	verdict verdict
	status  int           // HTTP status; 0 when nothing answered
	said    string        // the server's words on one line, or what hindered us
	wait    time.Duration // the server asks us to stay away so long; 0 when it doesn't
	dropped int           // how many rows the server says it left out; 0 when it doesn't say
}

// tooOld tells that the rows lie before what the database keeps: they will never
// be taken, and nothing is wrong with the database.
func (a answer) tooOld() bool { return strings.Contains(a.said, "retention policy") }

// judge reads the library's error; now dates a Retry-After.
func judge(err error, now time.Time) answer {
	if err == nil {
		return answer{}
	}
	var he *influxhttp.Error
	if !errors.As(err, &he) || he.StatusCode == 0 {
		return unanswered(err)
	}
	a := answer{status: he.StatusCode, said: oneLine(he.Message), wait: retryAfter(he.Header, now)}
	if a.said == "" {
		a.said = http.StatusText(a.status)
	}
	a.verdict = verdictOf(a.status, a.said)
	if a.verdict == badRows {
		a.dropped = droppedIn(he.Message)
	}
	return a
}

// unanswered judges a request that got no answer worth the name.
func unanswered(err error) answer {
	a := answer{verdict: away, said: oneLine(inner(err).Error())}
	if errors.Is(err, errWebPage) {
		a.verdict = refused
	}
	if errors.Is(err, context.DeadlineExceeded) {
		a.said = "no answer in time"
	}
	return a
}

// inner takes off the URL that net/http wraps around an error: it says
// nothing that the keeper has not written.
func inner(err error) error {
	var ue *url.Error
	if errors.As(err, &ue) {
		return ue.Err
	}
	return err
}

func verdictOf(status int, said string) verdict {
	switch {
	case status == http.StatusRequestEntityTooLarge:
		return tooBig
	case status == http.StatusBadRequest, status == http.StatusUnprocessableEntity:
		if speaksOfRows(said) {
			return badRows
		}
		return unclear
	case status == http.StatusTooManyRequests, status == http.StatusRequestTimeout:
		return away
	case status >= 500:
		// InfluxDB 1.x answers so when the retention policy does not exist.
		if strings.HasPrefix(said, "retention policy not found") {
			return refused
		}
		return away
	}
	return refused
}

// speaksOfRows knows the words with which the servers refuse single rows, seen
// in answers of InfluxDB 1.6.7; those of 2.x are from memory.
func speaksOfRows(said string) bool {
	for _, words := range []string{"partial write", "unable to parse", "field type conflict",
		"beyond retention policy", "outside retention policy"} {
		if strings.Contains(said, words) {
			return true
		}
	}
	return false
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

// retryAfter reads the header in both its forms, seconds and a date (RFC 9110,
// section 10.2.3), up to an hour.
func retryAfter(h http.Header, now time.Time) time.Duration {
	text := h.Get("Retry-After")
	var wait time.Duration
	if s, err := strconv.ParseUint(text, 10, 31); err == nil {
		wait = time.Duration(s) * time.Second
	} else if at, err := http.ParseTime(text); err == nil {
		wait = at.Sub(now)
	}
	return min(max(wait, 0), time.Hour)
}
