package ingest_test

import (
	"context"
	"io"
	"log/slog"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/ingest"
)

const patience = 20 * time.Second

// quiet is a log that nobody reads.
func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// a hearing is a source or listener that runs until it is stopped.
type hearing struct {
	t     *testing.T
	items <-chan ingest.Item
	stop  context.CancelFunc
	done  chan error
}

func hear(t *testing.T, run func(context.Context) error, items <-chan ingest.Item) *hearing {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	h := &hearing{t: t, items: items, stop: stop, done: make(chan error, 1)}
	go func() { h.done <- run(ctx) }()
	t.Cleanup(h.end)
	return h
}

// end stops it and waits until it has. It may be called twice.
func (h *hearing) end() {
	h.t.Helper()
	h.stop()
	select {
	case err := <-h.done:
		if err != nil {
			h.t.Errorf("run: %v", err)
		}
		h.done <- nil
	case <-time.After(patience):
		h.t.Error("it does not stop")
	}
}

// next is the next item.
func (h *hearing) next() ingest.Item {
	h.t.Helper()
	select {
	case it, open := <-h.items:
		if !open {
			h.t.Fatal("the items have ended")
		}
		return it
	case <-time.After(patience):
		h.t.Fatal("nothing was heard")
	}
	return ingest.Item{}
}

// up waits for a link that is up, passing over links that are down.
func (h *hearing) up() ingest.Link {
	h.t.Helper()
	for {
		it := h.next()
		if it.Link == nil {
			h.t.Fatalf("heard %s %q before the link was up", it.Delivery.Topic, it.Delivery.Payload)
		}
		if it.Link.Up {
			return *it.Link
		}
	}
}

// down waits for a link that is down, passing over deliveries.
func (h *hearing) down() ingest.Link {
	h.t.Helper()
	for {
		if it := h.next(); it.Link != nil && !it.Link.Up {
			return *it.Link
		}
	}
}

// delivery is the next item, which must be a delivery.
func (h *hearing) delivery() *ingest.Delivery {
	h.t.Helper()
	it := h.next()
	if it.Delivery == nil {
		h.t.Fatalf("heard %+v, not a delivery", *it.Link)
	}
	return it.Delivery
}

// source runs a source on a broker.
func source(t *testing.T, b *brokertest.Broker, change func(*ingest.SourceConfig)) (*ingest.Source, *hearing) {
	t.Helper()
	c := ingest.SourceConfig{
		BrokerSettings: ingest.BrokerSettings{URLs: []string{b.URL}, ClientID: "binwatchd-test"},
		Filters:        []string{"hillfoot/#"}, Log: quiet(), Now: time.Now, FirstRetry: 10 * time.Millisecond, LastRetry: 100 * time.Millisecond,
	}
	if change != nil {
		change(&c)
	}
	s := ingest.NewSource(c)
	return s, hear(t, s.Run, s.Items())
}
