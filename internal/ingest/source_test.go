package ingest_test

import (
	"context"
	"fmt"
	"net"
	"strconv"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/ingest"
)

func TestSourceHearsInOrder(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{})
	_, h := source(t, b, nil)
	if l := h.up(); l.Resumed || l.Trouble != "" {
		t.Errorf("the first link is %+v", l)
	}
	for i := range 30 { // more than a broker leaves unacknowledged
		b.Publish(fmt.Sprintf("hillfoot/bed/%d", i%3), 1, false, fmt.Sprint(i))
		d := h.delivery()
		if want := fmt.Sprint(i); string(d.Payload) != want || d.QoS != 1 || d.ID == 0 || d.Dup || d.Retained || d.Hurry {
			t.Fatalf("message %d is %+v", i, d)
		}
		d.Ack()
		d.Ack() // twice does no harm
	}
}

// What the broker queued while nobody listened comes after a link that says
// so; what was not acknowledged comes first, marked DUP, under its old packet
// id (MQTT 3.1.1, MQTT-4.4.0-1).
func TestSessionOutlivesTheSource(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{})
	_, h := source(t, b, nil)
	h.up()
	b.Publish("hillfoot/t", 1, false, "acknowledged")
	h.delivery().Ack()
	b.Publish("hillfoot/t", 1, false, "open")
	open := h.delivery()
	h.end()
	b.Publish("hillfoot/t", 1, false, "queued")

	_, h = source(t, b, nil)
	if l := h.up(); !l.Resumed {
		t.Errorf("the link is %+v, want resumed", l)
	}
	again := h.delivery()
	if string(again.Payload) != "open" || !again.Dup || again.ID != open.ID {
		t.Errorf("first came %+v, want the open message again", again)
	}
	open.Ack() // of a connection that is gone: does nothing, and must not hang
	if d := h.delivery(); string(d.Payload) != "queued" || d.Dup {
		t.Errorf("then came %+v, want the queued message", d)
	}
}

func TestReconnectBringsBackWhatIsNotAcknowledged(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{})
	s, h := source(t, b, nil)
	h.up()
	var ids []uint16
	for i := range 5 {
		b.Publish("hillfoot/t", 1, false, fmt.Sprint(i))
		d := h.delivery()
		ids = append(ids, d.ID)
		if i < 2 {
			d.Ack()
		}
	}
	s.Reconnect()
	if l := h.down(); l.Trouble == "" {
		t.Error("the link that is down does not say why")
	}
	if l := h.up(); !l.Resumed {
		t.Errorf("the link is %+v, want resumed", l)
	}
	for i := 2; i < 5; i++ {
		d := h.delivery()
		if string(d.Payload) != fmt.Sprint(i) || !d.Dup || d.ID != ids[i] {
			t.Fatalf("got %+v, want message %d again", d, i)
		}
		d.Ack()
	}
}

func TestStoredValuesAreMarked(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{})
	b.Publish("hillfoot/t", 1, true, "stored")
	_, h := source(t, b, nil)
	h.up()
	if d := h.delivery(); !d.Retained || string(d.Payload) != "stored" {
		t.Errorf("got %+v, want a retained value", d)
	}
	b.Publish("hillfoot/t", 1, true, "live")
	if d := h.delivery(); d.Retained || string(d.Payload) != "live" {
		t.Errorf("got %+v, want a live value", d)
	}
}

func TestSourceHearsItsFiltersAndNoMore(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{})
	_, h := source(t, b, func(c *ingest.SourceConfig) { c.Filters = []string{"hillfoot/+/t", "hillfoot/store/#", "plain"} })
	h.up()
	for _, topic := range []string{"hillfoot/bed/t", "hillfoot/bed/m", "hillfoot/store", "hillfoot/store/crate/b", "plain", "plain/not", "hillfoot/a/b/t", "hillfoot/end/t"} {
		b.Publish(topic, 1, false, "1")
	}
	var got []string
	for len(got) == 0 || got[len(got)-1] != "hillfoot/end/t" {
		d := h.delivery()
		d.Ack()
		got = append(got, d.Topic)
	}
	if want := "hillfoot/bed/t hillfoot/store hillfoot/store/crate/b plain hillfoot/end/t"; strings.Join(got, " ") != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

// A broker that is killed forgets its sessions. The source notices, comes
// back, subscribes again, and says that the session is new.
func TestSourceOutlivesItsBroker(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{})
	_, h := source(t, b, nil)
	h.up()
	for range 2 {
		b.Kill()
		if l := h.down(); l.Trouble == "" {
			t.Error("the link that is down does not say why")
		}
		b.Start()
		if l := h.up(); l.Resumed {
			t.Errorf("the link is %+v, though the broker has forgotten everything", l)
		}
		b.Publish("hillfoot/t", 1, false, "after")
		if d := h.delivery(); string(d.Payload) != "after" {
			t.Errorf("got %+v", d)
		} else {
			d.Ack()
		}
	}
}

// A broker that is stopped and started as usual keeps the session.
func TestSessionOutlivesARestartOfTheBroker(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{})
	_, h := source(t, b, nil)
	h.up()
	b.Publish("hillfoot/t", 1, false, "open")
	h.delivery()
	b.Stop()
	h.down()
	b.Start()
	if l := h.up(); !l.Resumed {
		t.Errorf("the link is %+v, want resumed", l)
	}
	if d := h.delivery(); string(d.Payload) != "open" || !d.Dup {
		t.Errorf("got %+v, want the open message again", d)
	}
}

// A broker ends the older of two connections with one client id, and does not
// say why (MQTT 3.1.1, MQTT-3.1.4-2).
func TestTwoWithOneClientIDAreTold(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{})
	often := func(c *ingest.SourceConfig) {
		c.ClientID, c.FirstRetry, c.LastRetry = "bins", time.Millisecond, time.Minute
	}
	_, one := source(t, b, often)
	_, two := source(t, b, often)
	defer two.end()
	for n := 1; ; n++ { // a connection that ends before it has subscribed is no loss
		switch named := strings.Contains(one.down().Trouble, `client_id "bins"`); {
		case named && n < 3, n == 100:
			t.Fatalf("after %d losses the client_id is named: %t", n, named)
		case named:
			return
		}
	}
}

// mosquitto 2.0.11 grants a subscription that its ACL forbids and then
// delivers nothing: connected, yet silent. Only the lack of readings can show
// it, so here it is pinned that the link looks well.
func TestForbiddenTopicsAreSilent(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{ACL: "topic readwrite open/#\ntopic write hillfoot/#\n"})
	_, h := source(t, b, func(c *ingest.SourceConfig) { c.Filters = []string{"hillfoot/#", "open/#"} })
	if l := h.up(); l.Trouble != "" {
		t.Logf("this mosquitto says so: %s", l.Trouble)
	}
	b.Publish("hillfoot/t", 1, false, "forbidden")
	b.Publish("open/t", 1, false, "allowed")
	if d := h.delivery(); string(d.Payload) != "allowed" {
		t.Errorf("got %+v, want only what is allowed", d)
	}
}

func TestTroubleIsSaidWithoutSecrets(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{Users: map[string]string{"bins": "rhubarb"}})
	nobody, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	nobody.Close()
	cases := []struct{ name, url, says string }{
		{"wrong password", "tcp://bins:s3cret@" + b.Addr, "does not let this user in"},
		{"nobody there", "tcp://" + nobody.Addr().String(), "connection refused"},
		{"no URL", "tcp://bins:s3cret@ host:1883", "invalid"},
		{"unknown scheme", "http://127.0.0.1:1883", "not http://"},
		{"no name", "", "not ://"},
	}
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			_, h := source(t, b, func(c *ingest.SourceConfig) { c.URLs = []string{tt.url}; c.Password = "s3cret" })
			l := h.down()
			if !strings.Contains(l.Trouble, tt.says) || strings.Contains(l.Trouble, "s3cret") {
				t.Errorf("trouble %q, want it to say %q and no secret", l.Trouble, tt.says)
			}
		})
	}
}

func TestSecondBrokerIsTried(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{Users: map[string]string{"bins": "rhubarb"}})
	_, h := source(t, b, func(c *ingest.SourceConfig) {
		c.URLs = []string{"tcp://127.0.0.1:1", b.URL}
		c.User, c.Password = "bins", "rhubarb"
	})
	if it := h.next(); it.Link == nil || !it.Link.Up {
		t.Errorf("heard %+v, want a link that is up", it)
	}
}

// A caller that can't keep up loses nothing, even with a broker that sends any
// number of messages before the first is acknowledged.
func TestSlowCallerLosesNothing(t *testing.T) {
	for _, queued := range []bool{false, true} {
		t.Run(fmt.Sprintf("queued before %v", queued), func(t *testing.T) {
			b := brokertest.StartMosquitto(t, brokertest.Options{Extra: "max_inflight_messages 0\nmax_queued_messages 0"})
			impatient := func(c *ingest.SourceConfig) { c.LongestHold = time.Millisecond }
			_, h := source(t, b, impatient)
			h.up()
			if queued {
				h.end()
			}
			flood(t, b, slow)
			if queued {
				_, h = source(t, b, impatient)
			}
			if hurried := h.all(slow); queued && !hurried {
				t.Error("the last that there was room for does not say that the rest waits for it")
			}
		})
	}
}

// slow is more than a source has room for.
const slow = 6000

// flood publishes numbered messages and returns when the broker has them.
func flood(t *testing.T, b *brokertest.Broker, n int) {
	t.Helper()
	c := brokertest.Client(t, b.URL, "probe", "", "")
	for i := range n {
		brokertest.Done(t, "publish", c.Publish("hillfoot/t", 1, false, fmt.Sprint(i)))
	}
}

// A caller that is behind for a while holds the broker up; the connection
// stays, and nothing comes twice.
func TestBrokerWaitsForASlowCaller(t *testing.T) {
	b := brokertest.StartMosquitto(t, brokertest.Options{Extra: "max_inflight_messages 0\nmax_queued_messages 0"})
	s, h := source(t, b, nil)
	h.up()
	flood(t, b, slow)
	if n := len(s.Items()); n >= 4096 {
		t.Errorf("%d items wait: there is no room left", n)
	}
	for i := range slow {
		d := h.delivery()
		if string(d.Payload) != fmt.Sprint(i) || d.Dup {
			t.Fatalf("message %d is %+v", i, d)
		}
		d.Ack()
	}
}

// all hears and acknowledges until each of n numbered messages has come. It tells
// whether the acknowledgement of any was waited for.
func (h *hearing) all(n int) (hurried bool) {
	h.t.Helper()
	seen := make([]bool, n)
	for left := n; left > 0; {
		it := h.next()
		if it.Delivery == nil {
			continue
		}
		i, err := strconv.Atoi(string(it.Delivery.Payload))
		if err != nil {
			h.t.Fatal(err)
		}
		if !seen[i] {
			seen[i] = true
			left--
		}
		hurried = hurried || it.Delivery.Hurry
		it.Delivery.Ack()
	}
	return hurried
}

// Stopping ends a handshake with something that does not answer.
func TestStopEndsAnyWait(t *testing.T) {
	mute, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer mute.Close()
	s := ingest.NewSource(ingest.SourceConfig{
		BrokerSettings: ingest.BrokerSettings{URL: "tcp://" + mute.Addr().String(), ClientID: "x"}, Log: quiet(), Now: time.Now,
	})
	h := hear(t, s.Run, s.Items())
	c, err := mute.Accept()
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	h.end()
	if _, open := <-s.Items(); open {
		t.Error("the items have not ended")
	}
	s.Reconnect() // after the end: does nothing, and must not hang
	s.Reconnect()
	if err := s.Run(context.Background()); err == nil {
		t.Error("a second Run gave no error")
	}
	h.end()
}
