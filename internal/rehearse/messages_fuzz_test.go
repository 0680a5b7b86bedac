package rehearse_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"io"
	"regexp"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/rehearse"
)

// FuzzMessages rehearses whatever comes as a recording. Every row before the
// first that is wrong is taken in, and what is wrong is told with its line.
func FuzzMessages(f *testing.F) {
	const head = "time,topic,payload\n"
	for _, s := range []string{
		head, "", "time,topic\n", head + "2026-05-01T08:00:00Z,bed/t0,20.5\n", "\xef\xbb\xbf" + head,
		head + "2026-05-01T08:00:00Z,bed/t0,20.5\n2026-05-01T08:00:00+02:00,bed/t0,20.5\n",
		head + "2026-05-01T08:00:00Z,bed/m0,\"{\"\"soil\"\": 71}\"\n2026-05-01T09:00:00.5Z,bed/m0,\"{\n}\"\n",
		head + "2026-05-01T08:00:00Z,binwatch/jot/bed0,\"{\"\"what\"\":\"\"fed\"\",\"\"amount\"\":\"\"2 kg\"\"}\"\n2026-06-01T08:00:00Z,binwatch/hush/bed0,\"{\"\"for\"\":\"\"2h\"\"}\"\n",
		head + "2026-05-01T08:00:00Z,bed/t0\n", head + "2026-05-01T08:00:00Z,\"bed/t0,20\n", "time,topic,payload\r\n2026-05-01T08:00:00Z,bed/t0,85\r\n\r\n",
		head + "0001-01-01T00:00:00Z,bed/t0,20\n", head + "1970-01-01T00:00:00Z,bed/t0,20\n1970-01-03T00:00:00Z,bed/t0,41\n", head + "2026-05-01T08:00:00Z,binwatch/seen/x,\n",
	} {
		f.Add([]byte(s))
	}
	place := regexp.MustCompile(`line \d+`)
	f.Fuzz(func(t *testing.T, in []byte) {
		rows, over := goodRows(in)
		if over > 40*24*time.Hour {
			return // judging each minute of centuries is work, and no fault
		}
		r := rehearse.New(rehearse.Config{Farm: bed(), Prefix: "binwatch", On: func(ch farm.Change) {
			if ch.Text == "" {
				t.Errorf("a change that says nothing: %+v", ch)
			}
		}})
		err := r.Messages(context.Background(), bytes.NewReader(in))
		if got := r.Stats().Messages; got != int64(rows) {
			t.Errorf("took in %d messages, want %d (%v)", got, rows, err)
		}
		if err != nil && !place.MatchString(err.Error()) && !strings.Contains(err.Error(), "is empty") {
			t.Errorf("no line in %q", err)
		}
	})
}

// goodRows counts the rows before the first that is wrong, and gives the time
// they reach over.
func goodRows(in []byte) (n int, over time.Duration) {
	rows := csv.NewReader(bytes.NewReader(in))
	var first, last time.Time
	for line := 0; ; line++ {
		row, err := rows.Read()
		if err == io.EOF || err != nil || len(row) != 3 {
			return n, over
		}
		if line == 0 {
			if strings.Join(row, ",") != "time,topic,payload" {
				return 0, 0
			}
			continue
		}
		at, err := time.Parse(time.RFC3339, row[0])
		if err != nil || at.Before(last) || at.Unix() < 0 {
			return n, over
		}
		if n == 0 {
			first = at
		}
		n, last, over = n+1, at, at.Sub(first)
	}
}
