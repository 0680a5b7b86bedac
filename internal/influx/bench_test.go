package influx_test

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"

	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
	"binwatchd/internal/influxtest"
	"binwatchd/internal/journal"
)

// BenchmarkBacklog drains the backlog of a week of twenty probes that speak
// every minute out of a real journal, its older days packed, into influxd; and beside
// it lets InfluxDB's client write the same batches, prepared beforehand, to the same
// server. The figure is the ratio of both in one round, the median of all rounds
// with the order changing; the absolute ones are the machine's.
func BenchmarkBacklog(b *testing.B) {
	s := influxtest.StartInfluxd(b, influxtest.Options{})
	f := glasshouse()
	j, _ := weekOfJournal(b, f, time.Minute)
	batches, rows := prepare(b, f, j)
	rounds := []func(db string) time.Duration{
		func(db string) time.Duration { return writePrepared(b, s, db, batches) },
		func(db string) time.Duration { return drain(b, s, db, f, j) },
	}
	var spent [2]time.Duration
	var ratios []float64
	for b.Loop() {
		round, before := len(ratios), spent
		for k := range rounds {
			which := (k + round) % 2
			db := fmt.Sprintf("db%d_%d", round, which)
			s.Do("CREATE DATABASE " + db)
			spent[which] += rounds[which](db)
			if got, want := s.Count(db, "bin_levels", "raw"), rows; got != want {
				b.Fatalf("%d points arrived, want %d", got, want)
			}
			s.Do("DROP DATABASE " + db)
		}
		ratios = append(ratios, (spent[0]-before[0]).Seconds()/(spent[1]-before[1]).Seconds())
	}
	slices.Sort(ratios)
	points := float64(rows * len(ratios))
	b.ReportMetric(points/spent[0].Seconds(), "client-points/s")
	b.ReportMetric(points/spent[1].Seconds(), "forwarder-points/s")
	b.ReportMetric(ratios[len(ratios)/2], "ratio")
}

// prepare writes the journal as lines, in the very batches that the forwarder makes.
func prepare(b *testing.B, f farm.Farm, j *journal.Journal) (batches []string, rows int) {
	lines := influx.NewLines(f, "")
	for after := int64(0); ; {
		st, err := j.Forward(b.Context(), after, 5000)
		if err != nil {
			b.Fatal(err)
		}
		if st.Last == after {
			return batches, rows
		}
		var buf []byte
		for _, e := range st.Events {
			buf = lines.AppendReading(buf, e.Reading, nil)
		}
		batches, after, rows = append(batches, string(buf)), st.Last, rows+len(st.Events)
	}
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
func drain(b *testing.B, s *influxtest.Influxd, db string, f farm.Farm, j *journal.Journal) time.Duration {
	if err := j.SetCursor(b.Context(), "influx", 0); err != nil {
		b.Fatal(err)
	}
	last, err := j.Last(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	fw, err := influx.New(influx.Config{Settings: influx.Settings{URL: s.URL, Flavour: influx.V1, Database: db}, Now: time.Now}, unchanging(f), j, nil)
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(b.Context())
	done := make(chan error, 1)
	began := time.Now()
	go func() { done <- fw.Run(ctx) }()
	look := time.NewTicker(time.Millisecond)
	defer look.Stop()
	for fw.Figures().Reached < last {
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
	lines, r := influx.NewLines(hillfoot(), ""), readingAt("bed-t", start, 18.3).Reading
	buf := make([]byte, 0, 256)
	b.ReportAllocs()
	for b.Loop() {
		buf = lines.AppendReading(buf[:0], r, nil)
	}
}
