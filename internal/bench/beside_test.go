package main_test

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
	"binwatchd/internal/influxtest"
	"binwatchd/internal/journal"
)

// BenchmarkBeside is the daemon's intake while a forwarder is at work beside it,
// against the same intake alone: with a database that is down, and with one that
// takes the backlog of all rounds before at full speed.
func BenchmarkBeside(b *testing.B) {
	for _, c := range []struct {
		name string
		url  func(*testing.B) string
	}{
		{"a_database_that_is_down", func(b *testing.B) string { return "http://" + freeAddress(b) }},
		{"a_backlog_on_its_way", func(b *testing.B) string {
			s := influxtest.StartInfluxd(b, influxtest.Options{})
			s.Do("CREATE DATABASE bins")
			return s.URL
		}},
	} {
		b.Run(c.name, func(b *testing.B) { besides(b, c.url(b)) })
	}
}

func besides(b *testing.B, url string) {
	in := newIntake(b, openMosquitto(b, 20))
	in.durable() // a first backlog
	_, _, ratio := inTurns(b, in.durable, func() time.Duration {
		defer forwarding(b, in, url)()
		return in.durable()
	})
	b.ReportMetric(ratio, "ratio")
}

// forwarding begins to forward the whole journal anew, until the function it
// gives is called.
func forwarding(b *testing.B, in *intakeRig, url string) (stop func()) {
	j := ledger{in.journal}
	if err := j.SetCursor(b.Context(), "influx", 0); err != nil {
		b.Fatal(err)
	}
	f, err := influx.New(influx.Config{Settings: influx.Settings{URL: url, Flavour: influx.V1, Database: "bins"}, Log: slog.New(slog.DiscardHandler), Now: time.Now}, func(int64) *farm.Farm { return in.farm }, j, nil)
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(b.Context())
	ended := make(chan error, 1)
	go func() { ended <- f.Run(ctx) }()
	return func() {
		cancel()
		if err := <-ended; err != nil {
			b.Fatal(err)
		}
	}
}

// A ledger is the journal as a forwarder wants to see it.
type ledger struct{ *journal.Journal }

func (l ledger) Park(ctx context.Context, rows []farm.Parked) error {
	if len(rows) > 0 {
		panic("a row was refused: " + rows[0].Reason)
	}
	return nil
}
