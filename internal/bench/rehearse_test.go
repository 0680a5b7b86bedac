package main_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/rehearse"
)

// recorded is how many messages a recording holds: a week of twenty probes that
// speak every minute.
const recorded = 7 * 24 * 60 * 20

// BenchmarkRehearse runs a recording through the whole judging, and in turns
// through the decoding of CSV and JSON alone. The figure is the ratio of both in
// one round, the median of all rounds with the order changing.
func BenchmarkRehearse(b *testing.B) {
	f := glasshouse(20)
	for i := range f.Probes {
		if f.Probes[i].Measures == farm.Moisture {
			f.Probes[i].Value = "/soil"
		}
	}
	text := recording(f)
	decoded, judged, ratio := inTurns(b,
		func() time.Duration { return decodeOnly(b, text) },
		func() time.Duration { return rehearsed(b, f, text) })
	b.ReportMetric(recorded/decoded.Seconds(), "decoded/s")
	b.ReportMetric(recorded/judged.Seconds(), "rehearsed/s")
	b.ReportMetric(ratio, "ratio")
}

// recording has bare numbers and small JSON in turns.
func recording(f *farm.Farm) []byte {
	var out bytes.Buffer
	fmt.Fprintln(&out, "time,topic,payload")
	start := time.Date(2026, 5, 4, 0, 0, 0, 0, time.UTC)
	for i := range recorded {
		p := f.Probes[i%20]
		payload := says(p, i/20)
		if p.Value != "" {
			payload = `"{""soil"":` + payload + `,""battery"":3.1}"`
		}
		fmt.Fprintf(&out, "%s,%s,%s\n", start.Add(time.Duration(i)*time.Minute/20).Format(time.RFC3339), p.Topic, payload)
	}
	return out.Bytes()
}

func rehearsed(b *testing.B, f *farm.Farm, text []byte) time.Duration {
	r := rehearse.New(rehearse.Config{Farm: f, Prefix: "binwatch", On: func(farm.Change) {}})
	began := time.Now()
	if err := r.Messages(context.Background(), bytes.NewReader(text)); err != nil {
		b.Fatal(err)
	}
	spent := time.Since(began)
	if got := r.Stats().Readings; got != recorded {
		b.Fatalf("%d rows became %d readings", recorded, got)
	}
	return spent
}

// decodeOnly reads the rows and decodes each payload into what it is known to
// hold.
func decodeOnly(b *testing.B, text []byte) time.Duration {
	began := time.Now()
	rows := csv.NewReader(bytes.NewReader(text))
	rows.ReuseRecord = true
	var payload []byte
	n := -1 // the header
	for {
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if n++; n == 0 {
			continue
		}
		payload = append(payload[:0], row[2]...)
		if strings.HasPrefix(row[2], "{") {
			var v struct{ Soil, Battery float64 }
			err = errors.Join(err, json.Unmarshal(payload, &v))
		} else {
			var v float64
			err = errors.Join(err, json.Unmarshal(payload, &v))
		}
		if err != nil {
			b.Fatal(err)
		}
	}
	spent := time.Since(began)
	if n != recorded {
		b.Fatalf("read %d rows, want %d", n, recorded)
	}
	return spent
}
