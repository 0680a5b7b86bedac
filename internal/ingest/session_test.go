package ingest_test

import (
	"fmt"
	"net"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

const marker = "binwatch/marker/binwatchd-test"

func withMarker(c *ingest.SourceConfig) { c.Marker = marker }

func TestMarkerTopicsAreTopics(t *testing.T) {
	for id, want := range map[string]string{
		"binwatchd-hillfoot": "binwatch/marker/binwatchd-hillfoot",
		"a/b+c#d$e":          "binwatch/marker/a_b_c_d_e",
	} {
		if got := ingest.MarkerTopic("binwatch", id); got != want {
			t.Errorf("%q: got %q, want %q", id, got, want)
		}
	}
}

// Of a resumed session all that was queued comes before the marker, however much
// it is, whatever filter covers the marker's topic too; what comes after it is
// live. A fresh session needs none.
func TestTheMarkerComesAfterTheBacklog(t *testing.T) {
	for _, filters := range [][]string{{"hillfoot/#"}, {"#"}, {"hillfoot/#", "binwatch/#"}, {"+/#"}} {
		t.Run(strings.Join(filters, " "), func(t *testing.T) {
			b := brokertest.StartMosquitto(t, brokertest.Options{})
			set := func(c *ingest.SourceConfig) {
				withMarker(c)
				c.Filters = filters
			}
			_, h := source(t, b, set)
			if l := h.up(); l.Resumed || l.Backlog != farm.NoBacklog {
				t.Errorf("the first link is %+v, want a fresh session without backlog", l)
			}
			b.Publish("hillfoot/t", 1, false, "live")
			d := h.delivery()
			if d.Own || string(d.Payload) != "live" {
				t.Fatalf("heard %+v, want no marker in a fresh session", d)
			}
			d.Ack()
			h.end()
			const queued = 120 // six times what the broker leaves unacknowledged
			c := brokertest.Client(t, b.URL, "", "", "")
			for i := range queued {
				brokertest.Done(t, "publish", c.Publish("hillfoot/t", 1, false, fmt.Sprint(i)))
			}
			_, h = source(t, b, set)
			if l := h.up(); !l.Resumed || l.Backlog != farm.Marked {
				t.Errorf("the link is %+v, want a resumed session with a marker", l)
			}
			for i := range queued {
				d := h.delivery()
				if d.Own || string(d.Payload) != fmt.Sprint(i) {
					t.Fatalf("message %d is %q of %s, own %v", i, d.Payload, d.Topic, d.Own)
				}
				d.Ack()
			}
			d = h.delivery()
			if !d.Own || !d.Caught {
				t.Fatalf("after the backlog came %q of %s, want the marker", d.Payload, d.Topic)
			}
			d.Ack()
			brokertest.Done(t, "publish", c.Publish("hillfoot/t", 1, false, "live"))
			for d = h.delivery(); d.Own; d = h.delivery() { // a filter that covers it may bring it twice
				if d.Caught {
					t.Error("the marker came back twice")
				}
			}
			if string(d.Payload) != "live" {
				t.Errorf("then came %q, want the live message", d.Payload)
			}
		})
	}
}

// A marker of an earlier connection lies in the queue too; it says nothing.
func TestAMarkerOfAnEarlierConnectionSaysNothing(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{})
	_, h := source(t, b, withMarker)
	h.up()
	h.end()
	b.Publish("hillfoot/t", 1, false, "1")
	_, h = source(t, b, withMarker)
	h.up()
	if d := h.delivery(); string(d.Payload) != "1" {
		t.Fatalf("heard %q, want the queued message", d.Payload)
	}
	if d := h.delivery(); !d.Caught {
		t.Fatalf("heard %q, want the marker", d.Payload)
	}
	h.end() // nothing was acknowledged, the marker neither
	b.Publish("hillfoot/t", 1, false, "2")
	_, h = source(t, b, withMarker)
	h.up()
	var got []string
	for {
		d := h.delivery()
		d.Ack()
		switch {
		case d.Caught:
			got = append(got, "caught")
		case d.Own:
			got = append(got, "old")
		default:
			got = append(got, string(d.Payload))
		}
		if d.Caught {
			break
		}
	}
	if want := "1 old 2 caught"; strings.Join(got, " ") != want {
		t.Errorf("heard %v, want %s", got, want)
	}
}

// The mosquitto of Debian 12 (2.0.11) grants a subscription that its ACL file
// denies, and never delivers. All else goes on.
func TestABrokerThatDeniesTheMarker(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{
		Users: map[string]string{"watch": "rhubarb", "probes": "sorrel"},
		ACL:   "user watch\ntopic read hillfoot/#\nuser probes\ntopic write hillfoot/#\n",
	})
	set := func(c *ingest.SourceConfig) {
		withMarker(c)
		c.User, c.Password = "watch", "rhubarb"
	}
	_, h := source(t, b, set)
	h.up()
	h.end()
	c := brokertest.Client(t, b.URL, "", "probes", "sorrel")
	brokertest.Done(t, "publish", c.Publish("hillfoot/t", 1, false, "queued"))
	_, h = source(t, b, set)
	if l := h.up(); !l.Resumed || l.Backlog == farm.NoBacklog || l.Trouble != "" {
		t.Errorf("the link is %+v, want a backlog and no trouble", l)
	}
	for i := range 30 {
		brokertest.Done(t, "publish", c.Publish("hillfoot/t", 1, false, fmt.Sprint("live ", i)))
		d := h.delivery()
		d.Ack()
		if d.Own || d.Caught {
			t.Fatalf("heard %+v, want no marker from a broker that denies it", d)
		}
	}
}

// A stub answers as a broker that has kept the session, and says what it was
// asked to do.
type stub struct {
	t     *testing.T
	l     net.Listener
	act   func(c net.Conn, p packets.ControlPacket) (stay bool)
	asked chan string
}

func newStub(t *testing.T, act func(net.Conn, packets.ControlPacket) bool) *stub {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	s := &stub{t: t, l: l, act: act, asked: make(chan string, 100)}
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go s.serve(c)
		}
	}()
	return s
}

func (s *stub) serve(c net.Conn) {
	defer c.Close()
	for {
		p, err := packets.ReadPacket(c)
		if err != nil {
			return
		}
		if !s.act(c, p) {
			return
		}
		switch p := p.(type) {
		case *packets.ConnectPacket:
			ack := packets.NewControlPacket(packets.Connack).(*packets.ConnackPacket)
			ack.SessionPresent = true
			_ = ack.Write(c)
		case *packets.SubscribePacket:
			ack := packets.NewControlPacket(packets.Suback).(*packets.SubackPacket)
			ack.MessageID = p.MessageID
			for _, topic := range p.Topics {
				s.asked <- topic
				code := byte(1)
				if topic == marker {
					code = 0x80
				}
				ack.ReturnCodes = append(ack.ReturnCodes, code)
			}
			_ = ack.Write(c)
		case *packets.PublishPacket:
			s.asked <- "publish " + p.TopicName
		}
	}
}

func (s *stub) source(change func(*ingest.SourceConfig)) *hearing {
	_, h := source(s.t, &brokertest.Broker{URL: "tcp://" + s.l.Addr().String()}, func(c *ingest.SourceConfig) {
		withMarker(c)
		c.LastRetry = time.Minute // nothing lasts that long here
		if change != nil {
			change(c)
		}
	})
	return h
}

// A broker that refuses the subscription gets no marker.
func TestABrokerThatRefusesTheMarker(t *testing.T) {
	s := newStub(t, func(net.Conn, packets.ControlPacket) bool { return true })
	h := s.source(nil)
	if l := h.up(); !l.Resumed || l.Backlog != farm.Unmarked || l.Trouble != "" {
		t.Errorf("the link is %+v, want an unmarked backlog and no trouble", l)
	}
	h.end()
	close(s.asked)
	for what := range s.asked {
		if strings.HasPrefix(what, "publish") {
			t.Errorf("the broker was sent %q though it refuses", what)
		}
	}
}

// A broker that ends the connection over the marker is soon asked for none.
func TestABrokerThatDropsUsForTheMarker(t *testing.T) {
	var tries atomic.Int32
	s := newStub(t, func(_ net.Conn, p packets.ControlPacket) bool {
		sub, ok := p.(*packets.SubscribePacket)
		if ok && sub.Topics[0] == marker {
			tries.Add(1)
			return false
		}
		return true
	})
	h := s.source(nil)
	if l := h.up(); l.Backlog != farm.Unmarked {
		t.Errorf("the link is %+v, want one without a marker", l)
	}
	h.end()
	if n := tries.Load(); n != 3 {
		t.Errorf("it was asked %d times, want three", n)
	}
}

// A filter for everything brings the markers of other watchers: they are no
// probe's.
func TestMarkersAreNoReadings(t *testing.T) {
	f := lone(farm.Temperature, tenMinutes)
	f.Probes[0].Topic = "#"
	d := ingest.NewDecoder(f, "binwatch")
	if got := d.Decode(marker, []byte("21.5"), noon); len(got.Readings) != 0 || len(got.Rejected) != 0 {
		t.Errorf("got %+v, want nothing", got)
	}
	if got := d.Decode("shed/t", []byte("21.5"), noon); len(got.Readings) != 1 {
		t.Errorf("got %+v, want a reading", got)
	}
}
