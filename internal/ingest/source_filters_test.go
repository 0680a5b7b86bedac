package ingest_test

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/ingest"
)

// A reload changes what is heard and keeps the session.
func TestHearOtherTopicsOnTheSameSession(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{})
	s := ingest.NewSource(ingest.SourceConfig{
		BrokerSettings: ingest.BrokerSettings{URLs: []string{b.URL}, ClientID: "binwatchd"},
		Filters:        []string{"old/t", "kept/t"}, Log: slog.New(slog.DiscardHandler), Now: time.Now,
	})
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	go s.Run(ctx)
	links, got := 0, map[string]int{}
	next := func() {
		select {
		case it := <-s.Items():
			if it.Link != nil {
				links++
				return
			}
			got[it.Delivery.Topic]++
			it.Delivery.Ack()
		case <-time.After(20 * time.Second):
			t.Fatalf("nothing heard; so far %v", got)
		}
	}
	next() // the link
	s.Hear([]string{"kept/t", "new/t"})
	for got["new/t"] == 0 { // until the broker has taken the new filter
		b.Publish("new/t", 1, true, "1")
		b.Publish("kept/t", 1, false, "1")
		next()
	}
	before := got["old/t"]
	b.Publish("old/t", 1, false, "1")
	b.Publish("kept/t", 1, false, "last")
	for n := got["kept/t"]; got["kept/t"] == n; {
		next()
	}
	if got["old/t"] != before || links != 1 {
		t.Errorf("got %d more of the old topic and %d links, want none and the one session", got["old/t"]-before, links)
	}
}
