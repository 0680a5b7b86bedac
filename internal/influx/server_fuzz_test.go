package influx_test

import (
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"binwatchd/internal/influx"
)

// FuzzAnswers has a server refuse in whatever words. What is shown of them is one
// short line, and no wait is longer than an hour.
func FuzzAnswers(f *testing.F) {
	for _, s := range []struct {
		status      uint16
		retry, body string
	}{
		{400, "", `{"error":"partial write: field type conflict: input field \"raw\" on measurement \"bin_levels\" is type float, already exists as type integer dropped=3"}`},
		{422, "", `{"code":"unprocessable entity","message":"failure writing points to database: partial write: points beyond retention policy dropped=99999999999999999999"}`},
		{429, "30", `{"code":"too many requests"}`}, {503, "Fri, 01 May 2026 12:05:00 GMT", ``}, {503, "4294967295", "\x1b[31mred\x00"},
		{413, "-1", `{"message":5}`}, {500, "", `{"error":"timeout"}`}, {404, "", `{"error":"retention policy not found"}`}, {401, "x", "<html>\n<p>log in"}, {400, "", "\xff\xfe"},
		{400, "", strings.Repeat("ä ", 400)}, {400, "", `null`}, {999, "Mon, 01 Jan 0001 00:00:00 GMT", `[]`},
	} {
		f.Add(s.status-300, s.retry, []byte(s.body))
	}
	now := time.Date(2026, time.May, 1, 12, 0, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, code uint16, retry string, body []byte) {
		status := 300 + int(code)%400 // a success is not judged by its words
		said, wait, dropped, away := influx.Judged(status, retry, body, now)
		if !utf8.ValidString(said) || utf8.RuneCountInString(said) > 301 || strings.ContainsFunc(said, unicode.IsControl) {
			t.Errorf("said %q", said)
		}
		if wait < 0 || wait > time.Hour {
			t.Errorf("waits %s", wait)
		}
		if dropped < 0 {
			t.Errorf("dropped %d", dropped)
		}
		if status == 429 && !away {
			t.Error("too many requests is no refusal")
		}
	})
}
