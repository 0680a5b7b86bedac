package ingest_test

import (
	"net"
	"strings"
	"testing"

	"github.com/eclipse/paho.mqtt.golang/packets"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// A device's word of life is read however it is written.
func TestWordsOfLife(t *testing.T) {
	probe := func(id, topic string, a farm.Alive) farm.Probe {
		return farm.Probe{ID: id, Topic: topic, Measures: farm.Temperature, Unit: farm.Celsius, Alive: a}
	}
	both := probe("both", "b/state", farm.Alive{Topic: "b/state", Value: "/availability"})
	both.Value = "/t"
	d := ingest.NewDecoder(&farm.Farm{Probes: []farm.Probe{
		probe("a", "a/t", farm.Alive{Topic: "a/LWT"}), probe("a2", "a/t2", farm.Alive{Topic: "a/LWT"}),
		probe("own", "o/t", farm.Alive{Topic: "o/s", Gone: []string{"schläft"}}), both,
	}}, "binwatch")
	for _, tt := range []struct {
		topic, payload string
		there, gone    bool
		readings       int
	}{
		{"a/LWT", "Online", true, false, 0}, {"a/LWT", "Offline", false, true, 0}, {"a/LWT", `{"state":"offline"}`, false, true, 0},
		{"a/LWT", `{"state":"online","since":4}`, true, false, 0}, {"a/LWT", "ready", true, false, 0}, {"a/LWT", "lost", false, true, 0}, {"a/LWT", "0", false, true, 0},
		{"a/LWT", "", false, false, 0}, {"a/LWT", `{"x":1,"y":2}`, false, false, 0},
		{"o/s", "schläft", false, true, 0}, {"o/s", "offline", true, false, 0},
		{"b/state", `{"t":20,"availability":"online"}`, true, false, 1}, {"b/state", `{"t":20}`, false, false, 1},
	} {
		got := d.Decode(tt.topic, []byte(tt.payload), noon)
		there, gone := false, false
		for _, e := range got.Commands {
			if e.Kind != farm.EventAlive || e.Alive.Topic != tt.topic {
				t.Errorf("%s %q: got %+v", tt.topic, tt.payload, e)
				continue
			}
			there, gone = !e.Alive.Gone, e.Alive.Gone
		}
		if there != tt.there || gone != tt.gone || len(got.Readings) != tt.readings || len(got.Rejected) > 0 {
			t.Errorf("%s %q: there %v, gone %v, %d readings, rejected %v", tt.topic, tt.payload, there, gone, len(got.Readings), got.Rejected)
		}
	}
	if got := d.Explain("a/LWT", []byte("Offline")); !strings.Contains(got, "the device of a and a2 is gone") {
		t.Errorf("explained as %q", got)
	}
	if got := strings.Join(d.Filters(), " "); !strings.Contains(got, "a/LWT") || !strings.Contains(got, "o/s") {
		t.Errorf("hears %s", got)
	}
}

// The broker of our own hands over the last will of a probe that has gone without a word, where
// it may say that at all, and none of one that has said goodbye.
func TestLastWillsAtOurOwnBroker(t *testing.T) {
	for _, tt := range []struct {
		name, topic string
		bye, told   bool
	}{
		{"gone", "glass/status", false, true}, {"goodbye", "glass/status", true, false},
		{"nobody's topic", "shed/status", false, false}, {"the logbook", "binwatch/jot/bed", false, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l, h := listener(t, nil)
			h.up()
			c, err := net.Dial("tcp", l.Addr().String())
			if err != nil {
				t.Fatal(err)
			}
			w := &wire{t, c}
			hello := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
			hello.ProtocolName, hello.ProtocolVersion, hello.ClientIdentifier, hello.Keepalive = "MQTT", 4, "node", 60
			hello.WillFlag, hello.WillTopic, hello.WillMessage, hello.WillRetain = true, tt.topic, []byte("offline"), true
			w.send(hello)
			w.read()
			if tt.bye {
				w.send(packets.NewControlPacket(packets.Disconnect))
			}
			c.Close()
			other := dialWire(t, l.Addr(), "other")
			p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
			if tt.told {
				if d := h.delivery(); d.Topic != tt.topic || string(d.Payload) != "offline" || d.Retained {
					t.Errorf("got %s %q", d.Topic, d.Payload)
				}
			}
			p.TopicName, p.Payload = "hillfoot/t", []byte("1")
			other.send(p)
			if d := h.delivery(); d.Topic != "hillfoot/t" {
				t.Errorf("got %s %q, want no will", d.Topic, d.Payload)
			}
		})
	}
}
