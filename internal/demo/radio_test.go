package demo_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"sync"
	"testing"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/hooks/auth"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"

	"binwatchd/internal/demo"
)

// An ear is a broker's hook that keeps what is published.
type ear struct {
	mochi.HookBase
	mu     sync.Mutex
	heard  []packets.Packet
	cutOff int // the number of the message at which it drops the connection, once; 0 for never
}

func (e *ear) ID() string { return "ear" }

func (e *ear) Provides(b byte) bool { return b == mochi.OnPublish }

func (e *ear) OnPublish(from *mochi.Client, p packets.Packet) (packets.Packet, error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.cutOff > 0 && len(e.heard) == e.cutOff {
		e.cutOff = 0
		from.Stop(errors.New("cut off"))
		return p, packets.ErrRejectPacket
	}
	e.heard = append(e.heard, p)
	return p, nil
}

// broker starts a real MQTT broker on a free loopback port.
func broker(t *testing.T) (url string, e *ear) {
	t.Helper()
	e = &ear{}
	b := mochi.New(&mochi.Options{Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	tcp := listeners.NewTCP(listeners.Config{ID: "tcp", Address: "127.0.0.1:0"})
	for _, err := range []error{b.AddHook(new(auth.AllowHook), nil), b.AddHook(e, nil), b.AddListener(tcp), b.Serve()} {
		if err != nil {
			t.Fatal(err)
		}
	}
	t.Cleanup(func() { b.Close() })
	return "tcp://" + tcp.Address(), e
}

func TestRadioPublishesInOrderWithQoS1(t *testing.T) {
	url, e := broker(t)
	r, err := demo.Dial(t.Context(), url, "hillfoot")
	if err != nil {
		t.Fatal(err)
	}
	want := collect(demo.New(1, start), day)
	for _, m := range want {
		if err := r.Publish(t.Context(), m); err != nil {
			t.Fatal(err)
		}
	}
	if err := r.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	r.Close()
	r.Close()
	e.mu.Lock()
	defer e.mu.Unlock()
	if len(e.heard) != len(want) {
		t.Fatalf("the broker heard %d messages, want %d", len(e.heard), len(want))
	}
	for i, p := range e.heard {
		m := want[i]
		if p.TopicName != m.Topic || string(p.Payload) != string(m.Payload) || p.FixedHeader.Retain != m.Retain || p.FixedHeader.Qos != 1 {
			t.Fatalf("message %d: got %s %q retain %v QoS %d, want %+v",
				i, p.TopicName, p.Payload, p.FixedHeader.Retain, p.FixedHeader.Qos, m)
		}
	}
}

// MQTT 3.1.1 [MQTT-4.4.0-1]: what was not acknowledged is sent again in the same
// session, so nothing is missing after the connection was lost.
func TestRadioSendsAgainWhatALostConnectionHeld(t *testing.T) {
	url, e := broker(t)
	e.cutOff = 40
	r, err := demo.Dial(t.Context(), url, "hillfoot")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	want := collect(demo.New(1, start), 2*time.Hour)
	for _, m := range want {
		if err := r.Publish(ctx, m); err != nil {
			t.Fatal(err)
		}
	}
	if err := r.Flush(ctx); err != nil {
		t.Fatal(err)
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	got := map[string]bool{}
	for _, p := range e.heard {
		got[p.TopicName+string(p.Payload)] = true
	}
	if e.cutOff != 0 {
		t.Fatal("the connection was never cut off")
	}
	for _, m := range want {
		if !got[m.Topic+string(m.Payload)] {
			t.Errorf("%s %s never came", m.Topic, m.Payload)
		}
	}
}

func TestDialTellsWhenNobodyListens(t *testing.T) {
	if _, err := demo.Dial(t.Context(), "tcp://127.0.0.1:1", "hillfoot"); err == nil {
		t.Error("connected to a port where nobody listens")
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := demo.Dial(ctx, "tcp://127.0.0.1:1", "hillfoot"); err == nil {
		t.Error("connected after the end")
	}
}
