package influx_test

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"

	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
	"binwatchd/internal/influxtest"
)

// BenchmarkBacklog drains the backlog of a week of twenty probes that speak
// every minute into influxd, and beside it lets InfluxDB's client write batches of
// the same size, prepared beforehand, to the same server. The ratio of both, taken in
// one run with the order changing, is the figure; the absolute ones are the machine's.
func BenchmarkBacklog(b *testing.B) {
	s := influxtest.StartInfluxd(b, influxtest.Options{})
	f, m := glasshouse(), &memory{}
	grow(m, f, 0, 7, time.Minute)
	batches := prepare(b, f, m, 5000)
	rounds := []func(db string) time.Duration{
		func(db string) time.Duration { return writePrepared(b, s, db, batches) },
		func(db string) time.Duration { return drain(b, s, db, f, m) },
	}
	var spent [2]time.Duration
	round := 0
	for b.Loop() {
		for k := range rounds {
			which := (k + round) % 2
			db := fmt.Sprintf("db%d_%d", round, which)
			s.Do("CREATE DATABASE " + db)
			spent[which] += rounds[which](db)
			if got, want := s.Count(db, "bin_climate", "raw"), int(m.last())-1; got != want {
				b.Fatalf("%d points arrived, want %d", got, want)
			}
			s.Do("DROP DATABASE " + db)
		}
		round++
	}
	points := float64(m.last()) * float64(round)
	b.ReportMetric(points/spent[0].Seconds(), "client-points/s")
	b.ReportMetric(points/spent[1].Seconds(), "forwarder-points/s")
	b.ReportMetric(spent[0].Seconds()/spent[1].Seconds(), "ratio")
}

// prepare writes the journal as batches of lines.
func prepare(b *testing.B, f farm.Farm, m *memory, rows int) []string {
	lines := influx.NewLines(f)
	var batches []string
	for after := int64(0); after < m.last(); {
		st, err := m.Forward(b.Context(), after, rows)
		if err != nil {
			b.Fatal(err)
		}
		var buf []byte
		for _, e := range st.Events {
			if e.Kind == farm.EventReading {
				buf = lines.AppendReading(buf, e.Reading)
			}
		}
		batches, after = append(batches, string(buf)), st.Last
	}
	return batches
}

// writePrepared is the client by itself, through the least that brings it to a server of
// version 1.
func writePrepared(b *testing.B, s *influxtest.Influxd, db string, batches []string) time.Duration {
	o := influxdb2.DefaultOptions().SetPrecision(time.Millisecond)
	o.HTTPOptions().SetHTTPDoer(plainDoer{&http.Client{Transport: &http.Transport{}}, db})
	w := influxdb2.NewClientWithOptions(s.URL, "", o).WriteAPIBlocking("", db)
	began := time.Now()
	for _, batch := range batches {
		if err := w.WriteRecord(b.Context(), batch); err != nil {
			b.Fatal(err)
		}
	}
	return time.Since(began)
}

type plainDoer struct {
	client *http.Client
	db     string
}

func (d plainDoer) Do(req *http.Request) (*http.Response, error) {
	req.URL.Path = strings.Replace(req.URL.Path, "/api/v2", "", 1)
	req.URL.RawQuery = "precision=ms&db=" + d.db
	return d.client.Do(req)
}

// drain is the forwarder, from its start until the server has everything.
func drain(b *testing.B, s *influxtest.Influxd, db string, f farm.Farm, m *memory) time.Duration {
	m.with(func() { m.cursor = 0 })
	fw, err := influx.New(influx.Config{URL: s.URL, Flavour: influx.V1, Database: db, Now: time.Now}, f, m, nil)
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(b.Context())
	done := make(chan error, 1)
	began := time.Now()
	go func() { done <- fw.Run(ctx) }()
	look := time.NewTicker(time.Millisecond)
	defer look.Stop()
	for fw.Figures().Reached < m.last() {
		<-look.C
	}
	spent := time.Since(began)
	cancel()
	if err := <-done; err != nil {
		b.Fatal(err)
	}
	return spent
}

func BenchmarkLineOfAReading(b *testing.B) {
	lines, r := influx.NewLines(hillfoot()), readingAt("bed-t", start, 18.3).Reading
	buf := make([]byte, 0, 256)
	b.ReportAllocs()
	for b.Loop() {
		buf = lines.AppendReading(buf[:0], r)
	}
}
