package demo

import (
	"context"
	"fmt"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"binwatchd/internal/backoff"
)

// A Publisher sends messages to a broker; [Radio] is one. Publish may return
// before the broker has the message, and blocks while too many are under way.
type Publisher interface {
	Publish(ctx context.Context, m Message) error
}

// Play lets the nursery live along with a clock and publishes each message
// when its time has come. The clock tells farm time, which passes speedup
// times as fast as the time it sleeps in; [Hasten] makes one. What is already
// due goes out at once. Play ends with the context's error or the first
// failure to publish.
func (s *Sim) Play(ctx context.Context, pub Publisher, speedup float64, now func() time.Time) error {
	for {
		next := s.Next()
		if err := sleep(ctx, time.Duration(float64(next.Sub(now()))/speedup)); err != nil {
			return err
		}
		var err error
		s.Until(next, func(m Message) {
			if err == nil {
				err = pub.Publish(ctx, m)
			}
		})
		if err != nil {
			return fmt.Errorf("publish simulated readings: %w", err)
		}
	}
}

// Hasten makes a clock of farm time: it shows from at the moment of the call
// and goes speedup times as fast as wall.
func Hasten(wall func() time.Time, from time.Time, speedup float64) func() time.Time {
	began := wall()
	return func() time.Time {
		return from.Add(time.Duration(float64(wall().Sub(began)) * speedup))
	}
}

// sleep waits for d or until the context ends; a d that is not positive does
// not wait.
func sleep(ctx context.Context, d time.Duration) error {
	if d > 0 && backoff.Pause(ctx, d) {
		return nil
	}
	return context.Cause(ctx)
}

// A Radio publishes the nursery's messages with QoS 1, many under way at a
// time, in order. It keeps each until the broker has acknowledged it; when the
// connection is lost it dials again and sends the kept ones anew, as a probe
// with a small memory does. So a message whose acknowledgement was lost comes
// twice. It is for one goroutine.
type Radio struct {
	url, clientID string
	client        mqtt.Client
	flight        []sent // oldest first
}

// A sent message awaits its acknowledgement.
type sent struct {
	message Message
	token   mqtt.Token
}

const (
	// inFlight is how many messages may await their acknowledgement. A broker
	// that acknowledges only what is on disk does so in batches; this is several
	// of them.
	inFlight = 256

	redialEvery = time.Second
	redialTimes = 60
)

// Dial connects to a broker.
func Dial(ctx context.Context, url, clientID string) (*Radio, error) {
	r := &Radio{url: url, clientID: clientID}
	if err := r.connect(ctx); err != nil {
		return nil, err
	}
	return r, nil
}

// connect makes a fresh client. The library's own reconnecting is off: it calls
// messages done before the broker has them.
func (r *Radio) connect(ctx context.Context) error {
	client := mqtt.NewClient(mqtt.NewClientOptions().
		AddBroker(r.url).
		SetClientID(r.clientID).
		SetProtocolVersion(4).
		SetCleanSession(true).
		SetAutoReconnect(false).
		SetConnectTimeout(10 * time.Second).
		SetWriteTimeout(3 * time.Second))
	if err := settle(ctx, client.Connect()); err != nil {
		client.Disconnect(0)
		return fmt.Errorf("connect to the broker: %w", err)
	}
	r.client = client
	return nil
}

// Publish sends a message. It returns at once unless a few hundred await their
// acknowledgement; then it waits for the oldest.
func (r *Radio) Publish(ctx context.Context, m Message) error {
	r.flight = append(r.flight, sent{m, r.send(m)})
	if len(r.flight) < inFlight {
		return nil
	}
	return r.land(ctx)
}

// Close ends the connection without waiting for what is under way. Closing
// twice is allowed.
func (r *Radio) Close() { r.client.Disconnect(250) }

func (r *Radio) send(m Message) mqtt.Token {
	return r.client.Publish(m.Topic, 1, m.Retain, m.Payload)
}

// land sees the oldest message under way to its acknowledgement, over as many
// connections as it takes.
func (r *Radio) land(ctx context.Context) error {
	for {
		err := settle(ctx, r.flight[0].token)
		if err == nil {
			r.flight = r.flight[1:]
			return nil
		}
		if ctx.Err() != nil {
			return err
		}
		if err := r.redial(ctx); err != nil {
			return err
		}
	}
}

// redial connects anew, trying for a minute, and sends again what is under
// way.
func (r *Radio) redial(ctx context.Context) error {
	r.client.Disconnect(0)
	for try := 0; ; try++ {
		err := r.connect(ctx)
		if err == nil {
			break
		}
		if try == redialTimes {
			return err
		}
		if err := sleep(ctx, redialEvery); err != nil {
			return err
		}
	}
	for i := range r.flight {
		r.flight[i].token = r.send(r.flight[i].message)
	}
	return nil
}

// settle waits for a token; a context that ends first wins.
func settle(ctx context.Context, t mqtt.Token) error {
	select {
	case <-t.Done():
		return t.Error()
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}
