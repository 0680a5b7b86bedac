package ingest_test

import (
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/certtest"
	"binwatchd/internal/efforttest"
	"binwatchd/internal/ingest"
	"binwatchd/internal/proctest"
)

// listener runs a listener on a free loopback port.
func listener(t *testing.T, change func(*ingest.ListenerConfig)) (*ingest.Listener, *hearing) {
	t.Helper()
	c := ingest.ListenerConfig{Address: "127.0.0.1:0", Topics: []string{"hillfoot/t", "glass/+"}, Prefix: "binwatch", Log: quiet(), Now: time.Now}
	if change != nil {
		change(&c)
	}
	l, err := ingest.Listen(c)
	if err != nil {
		t.Fatal(err)
	}
	return l, hear(t, l.Run, l.Items())
}

// a wire is a probe that speaks MQTT 3.1.1 packet by packet.
type wire struct {
	t *testing.T
	c net.Conn
}

func dialWire(t *testing.T, addr net.Addr, id string, clean ...bool) *wire {
	t.Helper()
	c, err := net.Dial("tcp", addr.String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	w := &wire{t, c}
	hello := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	hello.ProtocolName, hello.ProtocolVersion, hello.ClientIdentifier, hello.Keepalive = "MQTT", 4, id, 60
	hello.CleanSession = len(clean) > 0 && clean[0]
	w.send(hello)
	if ack, ok := w.read().(*packets.ConnackPacket); !ok || ack.ReturnCode != packets.Accepted {
		t.Fatalf("connect: %v", ack)
	}
	return w
}

func (w *wire) send(p packets.ControlPacket) {
	w.t.Helper()
	if err := p.Write(w.c); err != nil {
		w.t.Fatal(err)
	}
}

func (w *wire) publish(id uint16, qos byte, dup bool, payload string) {
	w.t.Helper()
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.MessageID, p.Qos, p.Dup, p.Payload = "hillfoot/t", id, qos, dup, []byte(payload)
	w.send(p)
}

func (w *wire) read() packets.ControlPacket {
	w.t.Helper()
	if err := w.c.SetReadDeadline(time.Now().Add(patience)); err != nil {
		w.t.Fatal(err)
	}
	p, err := packets.ReadPacket(w.c)
	if err != nil {
		w.t.Fatalf("read: %v", err)
	}
	return p
}

// silent checks that nothing comes. A short look can miss a fault on a slow
// machine, but never invent one.
func (w *wire) silent() {
	w.t.Helper()
	if err := w.c.SetReadDeadline(time.Now().Add(50 * time.Millisecond)); err != nil {
		w.t.Fatal(err)
	}
	if p, err := packets.ReadPacket(w.c); !errors.Is(err, os.ErrDeadlineExceeded) {
		w.t.Fatalf("got %v, %v, want nothing", p, err)
	}
}

// ended checks that the connection ends without an answer. The embedded broker
// says DISCONNECT, which only MQTT 5 lets a broker do; no probe minds.
func (w *wire) ended() {
	w.t.Helper()
	if err := w.c.SetReadDeadline(time.Now().Add(patience)); err != nil {
		w.t.Fatal(err)
	}
	for {
		p, err := packets.ReadPacket(w.c)
		if _, parting := p.(*packets.DisconnectPacket); err == nil && parting {
			continue
		}
		if err == nil || errors.Is(err, os.ErrDeadlineExceeded) {
			w.t.Fatalf("got %v, %v, want the end", p, err)
		}
		return
	}
}

func TestProbeIsAnsweredOnlyWhenItsReadingIsSafe(t *testing.T) {
	l, h := listener(t, nil)
	if link := h.up(); !link.Resumed {
		t.Errorf("the link is %+v, want resumed", link)
	}
	w := dialWire(t, l.Addr(), "probe")
	w.publish(7, 1, false, "21.5")
	d := h.delivery()
	if d.Topic != "hillfoot/t" || string(d.Payload) != "21.5" || d.QoS != 1 || d.ID != 7 || d.Dup || d.Retained || !d.Hurry {
		t.Errorf("got %+v", d)
	}
	w.silent()
	d.Ack()
	d.Ack()
	if ack, ok := w.read().(*packets.PubackPacket); !ok || ack.MessageID != 7 {
		t.Errorf("got %v, want PUBACK 7", ack)
	}
}

func TestExactlyOnceWaitsToo(t *testing.T) {
	l, h := listener(t, nil)
	h.up()
	w := dialWire(t, l.Addr(), "probe")
	w.publish(9, 2, false, "21.5")
	d := h.delivery()
	w.silent()
	d.Ack()
	if rec, ok := w.read().(*packets.PubrecPacket); !ok || rec.MessageID != 9 {
		t.Errorf("got %v, want PUBREC 9", rec)
	}
}

// One probe that waits for its answer holds up no other.
func TestWaitingProbesDoNotHoldUpOthers(t *testing.T) {
	l, h := listener(t, nil)
	h.up()
	first, second := dialWire(t, l.Addr(), "first"), dialWire(t, l.Addr(), "second")
	first.publish(1, 1, false, "1")
	waiting := h.delivery()
	second.publish(1, 1, false, "2")
	h.delivery().Ack()
	if _, ok := second.read().(*packets.PubackPacket); !ok {
		t.Error("the second probe got no PUBACK")
	}
	first.silent()
	waiting.Ack()
	if _, ok := first.read().(*packets.PubackPacket); !ok {
		t.Error("the first probe got no PUBACK")
	}
}

// After a failed commit the probes are shown out unanswered and send again.
func TestListenerReconnect(t *testing.T) {
	l, h := listener(t, nil)
	h.up()
	w := dialWire(t, l.Addr(), "probe")
	w.publish(3, 1, false, "21.5")
	lost := h.delivery()
	l.Reconnect()
	w.ended()
	h.down()
	if link := h.up(); !link.Resumed {
		t.Errorf("the link is %+v, want resumed", link)
	}
	lost.Ack() // too late: does nothing
	w = dialWire(t, l.Addr(), "probe")
	w.publish(3, 1, true, "21.5")
	d := h.delivery()
	if !d.Dup || d.ID != 3 {
		t.Errorf("got %+v, want the message again", d)
	}
	d.Ack()
	if _, ok := w.read().(*packets.PubackPacket); !ok {
		t.Error("no PUBACK for the repeated message")
	}
}

// Each client numbers its own packets, within a session that goes on over its
// connections unless it asks for a clean one.
func TestWhoNumbersThePackets(t *testing.T) {
	l, h := listener(t, nil)
	h.up()
	sender := func(id string, clean bool) uint32 {
		w := dialWire(t, l.Addr(), id, clean)
		w.publish(1, 1, false, "21.5")
		d := h.delivery()
		d.Ack()
		w.read()
		w.c.Close()
		return d.Sender
	}
	bench, shed := sender("bench", false), sender("shed", false)
	if bench == shed || bench == 0 || shed == 0 {
		t.Errorf("got senders %d and %d of two clients, want two", bench, shed)
	}
	if again := sender("bench", false); again != bench {
		t.Errorf("got sender %d, then %d, of a session that goes on", bench, again)
	}
	if a, b := sender("bench", true), sender("bench", true); a == b || a == bench {
		t.Errorf("got senders %d, %d, %d of sessions begun anew, want three", bench, a, b)
	}
}

func TestStoppingAnswersNobody(t *testing.T) {
	l, h := listener(t, nil)
	h.up()
	w := dialWire(t, l.Addr(), "probe")
	w.publish(3, 1, false, "21.5")
	h.delivery()
	h.end()
	w.ended()
	if _, open := <-l.Items(); open {
		t.Error("the items have not ended")
	}
	l.Reconnect()
	l.Reconnect()
}

// A probe that comes back while its old connection still waits takes it over.
func TestProbeTakesItsOldConnectionOver(t *testing.T) {
	l, h := listener(t, nil)
	h.up()
	old := dialWire(t, l.Addr(), "probe")
	old.publish(3, 1, false, "21.5")
	h.delivery()
	again := dialWire(t, l.Addr(), "probe")
	old.ended()
	again.publish(3, 1, true, "21.5")
	h.delivery().Ack()
	if _, ok := again.read().(*packets.PubackPacket); !ok {
		t.Error("no PUBACK on the new connection")
	}
}

func TestNobodySubscribes(t *testing.T) {
	l, h := listener(t, nil)
	h.up()
	c := brokertest.Client(t, "tcp://"+l.Addr().String(), "snoop", "", "")
	token := c.Subscribe("#", 1, nil).(*mqtt.SubscribeToken)
	proctest.Eventually(t, "an answer", func() bool { return token.WaitTimeout(time.Millisecond) })
	if code := token.Result()["#"]; code != 0x80 {
		t.Errorf("the subscription was answered %#x, want 0x80", code)
	}
}

func TestListenerAsksForUserAndPassword(t *testing.T) {
	l, h := listener(t, func(c *ingest.ListenerConfig) { c.Login = ingest.Login{User: "probes", Password: "rhubarb"} })
	h.up()
	url := "tcp://" + l.Addr().String()
	brokertest.Client(t, url, "good", "probes", "rhubarb")
	for _, login := range [][2]string{{"probes", "wrong"}, {"nobody", "rhubarb"}, {"", ""}} {
		c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(url).SetUsername(login[0]).SetPassword(login[1]))
		if token := c.Connect(); !token.WaitTimeout(patience) || token.Error() == nil {
			t.Errorf("%v was let in", login)
		}
	}
}

// Retain means nothing here: the message is live and is not stored.
func TestRetainedPublishIsLive(t *testing.T) {
	l, h := listener(t, nil)
	h.up()
	c := brokertest.Client(t, "tcp://"+l.Addr().String(), "probe", "", "")
	token := c.Publish("hillfoot/t", 0, true, "21.5")
	brokertest.Done(t, "publish", token)
	if d := h.delivery(); d.Retained || d.QoS != 0 || d.Hurry {
		t.Errorf("got %+v", d)
	} else {
		d.Ack()
	}
}

// A megabyte is handed over, to be refused by the decoder with a word.
func TestLargeMessageReachesTheDecoder(t *testing.T) {
	l, h := listener(t, nil)
	h.up()
	c := brokertest.Client(t, "tcp://"+l.Addr().String(), "probe", "", "")
	token := c.Publish("glass/bed", 1, false, strings.Repeat("x", 1<<20))
	d := h.delivery()
	d.Ack()
	brokertest.Done(t, "publish", token)
	got := ingest.NewDecoder(shed(), "binwatch").Decode(d.Topic, d.Payload, noon)
	if len(got.Rejected) != 2 || got.Rejected[0].Reason != ingest.TooLarge {
		t.Errorf("got %+v", got)
	}
}

func TestAddressInUse(t *testing.T) {
	l, _ := listener(t, nil)
	if _, err := ingest.Listen(ingest.ListenerConfig{Address: l.Addr().String()}); err == nil || !strings.Contains(err.Error(), "in use") {
		t.Errorf("got %v, want an address in use", err)
	}
}

func TestListenerOverTLS(t *testing.T) {
	local := certtest.NewLocal(t)
	l, h := listener(t, func(c *ingest.ListenerConfig) {
		c.TLS = &tls.Config{Certificates: []tls.Certificate{local.Certificate}}
	})
	h.up()
	_, port, err := net.SplitHostPort(l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tls://localhost:" + port).SetTLSConfig(&tls.Config{RootCAs: local.Roots}))
	brokertest.Done(t, "connect", c.Connect())
	defer c.Disconnect(50)
	token := c.Publish("hillfoot/t", 1, false, "21.5")
	h.delivery().Ack()
	brokertest.Done(t, "publish", token)
}

// The embedded broker races with itself when its Close meets a connection that
// is being set up. Under the race detector this test finds out whether the
// gate keeps them apart.
func TestStoppingWhileProbesCome(t *testing.T) {
	for round := range efforttest.Cases(6, 60) {
		l, h := listener(t, nil)
		h.up()
		var probes sync.WaitGroup
		begun := make(chan struct{}, 100)
		for i := range 8 {
			probes.Add(1)
			go func() {
				defer probes.Done()
				for n := 0; ; n++ {
					c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + l.Addr().String()).
						SetClientID(fmt.Sprintf("probe-%d-%d", i, n)).SetConnectTimeout(patience))
					token := c.Connect()
					if !token.WaitTimeout(patience) || token.Error() != nil {
						return
					}
					c.Publish("hillfoot/t", 0, false, "1")
					begun <- struct{}{}
					c.Disconnect(0)
				}
			}()
		}
		drain := make(chan struct{})
		go func() {
			defer close(drain)
			for range l.Items() {
			}
		}()
		for range 3 + round {
			<-begun
		}
		go func() {
			for range begun {
			}
		}()
		h.end()
		<-drain
		probes.Wait()
		close(begun)
	}
}

// A demo lives through its past before anybody can call: answers go nowhere then.
func TestAnswerBeforeAnybodyListens(t *testing.T) {
	l := &ingest.Listener{}
	l.Answer(&ingest.Answer{Topic: "binwatch/answer/bed"})
}
