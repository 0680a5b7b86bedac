package main

import (
	"fmt"
	"sync"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// A load is sixty probes that talk until they are stopped: a reading goes out with
// QoS 1 and is sent once more, with its time stamp, until the broker has it.
type load struct {
	broker string
	ledger *ledger
	beat   time.Duration // from one burst to the next
	burst  int           // readings at once
	next   func() (reading, bool)
	stops  chan struct{}
	ended  chan struct{}
	once   sync.Once
}

func startLoad(broker string, l *ledger, beat time.Duration, burst int, next func() (reading, bool)) *load {
	s := &load{broker: broker, ledger: l, beat: beat, burst: burst, next: next, stops: make(chan struct{}), ended: make(chan struct{})}
	go s.run()
	return s
}

// stop ends it; what is under way gets its answer before.
func (s *load) stop() {
	s.once.Do(func() { close(s.stops) })
	<-s.ended
}

func (s *load) run() {
	defer close(s.ended)
	var client mqtt.Client
	defer func() {
		if client != nil {
			client.Disconnect(50)
		}
	}()
	tick := time.NewTicker(s.beat)
	defer tick.Stop()
	var due []reading // have no answer yet
	for {
		select {
		case <-s.stops:
			return
		case <-tick.C:
		}
		if client == nil || !client.IsConnectionOpen() {
			if client = connect(s.broker); client == nil {
				continue
			}
		}
		over := false
		for len(due) < s.burst && !over {
			r, more := s.next()
			if over = !more; more {
				s.ledger.send(r)
				due = append(due, r)
			}
		}
		if due = s.publish(client, due); over && len(due) == 0 {
			return
		}
	}
}

// publish sends readings and gives those that got no answer.
func (s *load) publish(c mqtt.Client, rs []reading) (left []reading) {
	tokens := make([]mqtt.Token, len(rs))
	for i, r := range rs {
		tokens[i] = c.Publish(r.topic(), 1, false, r.message())
	}
	for i, t := range tokens {
		if t.WaitTimeout(10*time.Second) && t.Error() == nil {
			s.ledger.note(s.ledger.Accepted, rs[i].key())
			continue
		}
		left = append(left, rs[i])
	}
	if len(left) > 0 {
		c.Disconnect(0)
	}
	return left
}

// connect gives nil while the broker can't be reached.
func connect(broker string) mqtt.Client {
	o := mqtt.NewClientOptions().AddBroker(broker).SetClientID(fmt.Sprintf("probes-%d", time.Now().UnixNano())).
		SetAutoReconnect(false).SetConnectTimeout(5 * time.Second).SetWriteTimeout(5 * time.Second)
	c := mqtt.NewClient(o)
	if t := c.Connect(); t.WaitTimeout(10*time.Second) && t.Error() == nil {
		return c
	}
	return nil
}
