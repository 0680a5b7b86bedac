package ingest_test

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"

	"binwatchd/internal/ingest"
)

// a book is a log that can be read while it is written.
type book struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (b *book) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.Write(p)
}

func (b *book) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.String()
}

func (b *book) into(c *ingest.ListenerConfig) { c.Log = slog.New(slog.NewTextHandler(b, nil)) }

// dial opens a bare connection to a listener.
func dial(t *testing.T, addr net.Addr) net.Conn {
	t.Helper()
	c, err := net.Dial("tcp", addr.String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

// cut waits until the other side ends a connection without a word.
func cut(t *testing.T, c net.Conn) {
	t.Helper()
	if err := c.SetReadDeadline(time.Now().Add(patience)); err != nil {
		t.Fatal(err)
	}
	if n, err := c.Read(make([]byte, 1)); n > 0 || err == nil || errors.Is(err, os.ErrDeadlineExceeded) {
		t.Fatalf("got %d bytes and %v, want the end", n, err)
	}
}

// heap is how many bytes are in use.
func heap() int {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int(m.HeapAlloc)
}

// twoMiB is the remaining length of a packet of 2 MiB (MQTT 3.1.1, §2.2.3:
// seven bits a byte, the lowest first).
var twoMiB = []byte{0xfb, 0xff, 0x7f}

// 600 strangers who announce 2 MiB in CONNECT cost next to nothing: they are
// ended at once, and what they announced is not set aside.
func TestStrangersCostNoMemory(t *testing.T) {
	var log book
	l, h := listener(t, log.into)
	h.up()
	before := heap()
	var all []net.Conn
	for range 600 {
		c := dial(t, l.Addr())
		if _, err := c.Write(append([]byte{0x10}, twoMiB...)); err != nil {
			t.Fatal(err)
		}
		all = append(all, c)
	}
	for _, c := range all {
		cut(t, c)
	}
	if grown := heap() - before; grown > 4<<20 {
		t.Errorf("the heap has grown by %d KiB", grown>>10)
	}
	if got := log.String(); !strings.Contains(got, "its CONNECT has 2097151 bytes, the most is 4096") || strings.Count(got, "\n") > 2 {
		t.Errorf("the log says %q", got)
	}
}

func TestWhatAStrangerMaySay(t *testing.T) {
	l, h := listener(t, nil)
	h.up()
	long := func(bytes int) *packets.ConnectPacket {
		p := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
		p.ProtocolName, p.ProtocolVersion, p.ClientIdentifier, p.CleanSession, p.Keepalive = "MQTT", 4, "probe", true, 60
		p.WillFlag, p.WillTopic = true, "hillfoot/gone"
		p.WillMessage = filled(bytes)
		return p
	}
	for _, tt := range []struct {
		name  string
		bytes int // of the last wish
		let   bool
	}{{"a last wish", 3900, true}, {"more than 4 KiB in all", 4096, false}} {
		t.Run(tt.name, func(t *testing.T) {
			c := dial(t, l.Addr())
			if err := long(tt.bytes).Write(c); err != nil {
				t.Fatal(err)
			}
			if !tt.let {
				_ = c.(*net.TCPConn).CloseWrite()
				if rest, _ := io.ReadAll(c); len(rest) > 0 {
					t.Errorf("got %x, want the end", rest)
				}
				return
			}
			if ack, ok := (&wire{t, c}).read().(*packets.ConnackPacket); !ok || ack.ReturnCode != packets.Accepted {
				t.Errorf("got %v", ack)
			}
		})
	}
	for name, says := range map[string]string{
		"the web": "GET / HTTP/1.1\r\n\r\n", "a reading first": "\x30\x05\x00\x01a21", "a length without end": "\x10\xff\xff\xff\xff\xff", "nothing at all, then goes": "",
	} {
		t.Run(name, func(t *testing.T) {
			c := dial(t, l.Addr())
			if _, err := io.WriteString(c, says); err != nil {
				t.Fatal(err)
			}
			_ = c.(*net.TCPConn).CloseWrite()
			cut(t, c)
		})
	}
}

func filled(n int) []byte { return bytes.Repeat([]byte{'x'}, n) }

// However many connections stand idle, a probe gets in; and one that is in
// already stays.
func TestIdleConnectionsKeepNoProbeOut(t *testing.T) {
	var log book
	l, h := listener(t, log.into)
	h.up()
	settled := dialWire(t, l.Addr(), "settled")
	var idle []net.Conn
	for range 1500 {
		idle = append(idle, dial(t, l.Addr()))
	}
	for _, c := range idle[:1500-512] { // the oldest went
		cut(t, c)
	}
	w := dialWire(t, l.Addr(), "probe")
	for i, probe := range []*wire{w, settled} {
		probe.publish(uint16(i+1), 1, false, "21.5")
		h.delivery().Ack()
		if ack, ok := probe.read().(*packets.PubackPacket); !ok {
			t.Errorf("got %v", ack)
		}
	}
	if got := log.String(); !strings.Contains(got, "others came and there was no room") {
		t.Errorf("the log says %q", got)
	}
}

// Probes that are let in and announce large messages, which never come, are
// held within bounds, and keep no small message out.
func TestAnnouncedMessagesAreBoundedOverAllProbes(t *testing.T) {
	l, h := listener(t, nil)
	h.up()
	before := heap()
	for i := range 100 {
		w := dialWire(t, l.Addr(), fmt.Sprint("large-", i))
		if _, err := w.c.Write(append(append([]byte{0x32}, twoMiB...), "\x00\x0ahillfoot/t\x00\x01some of it"...)); err != nil {
			t.Fatal(err)
		}
	}
	w := dialWire(t, l.Addr(), "small")
	for id := range uint16(50) {
		w.publish(id+1, 1, false, "21.5")
		h.delivery().Ack()
		w.read()
	}
	// Two are let in at a time, and the broker sets aside each of them once.
	if grown := heap() - before; grown > 8<<20 {
		t.Errorf("the heap has grown by %d KiB", grown>>10)
	}
}

// Messages that nobody answers wait with their senders, not here.
func TestMessagesWithoutAnswerDoNotPileUp(t *testing.T) {
	l, h := listener(t, nil)
	h.up()
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.Payload = "hillfoot/t", filled(60_000)
	var message bytes.Buffer // written once: what senders throw away is no business of the listener's, and counts as its own
	if err := p.Write(&message); err != nil {
		t.Fatal(err)
	}
	before := heap()
	var senders sync.WaitGroup
	var all []*wire
	for i := range 40 {
		w := dialWire(t, l.Addr(), fmt.Sprint("chatty-", i))
		all = append(all, w)
		senders.Go(func() {
			for range 200 {
				if _, err := w.c.Write(message.Bytes()); err != nil {
					return
				}
			}
		})
	}
	for range 40 { // all of them have begun
		h.delivery()
	}
	if grown := heap() - before; grown > 32<<20 { // 480 MB are on offer
		t.Errorf("the heap has grown by %d KiB", grown>>10)
	}
	for _, w := range all {
		w.c.Close()
	}
	senders.Wait()
}

// A large packet that is done with leaves its room to the next.
func TestLargeMessagesFollowEachOther(t *testing.T) {
	l, h := listener(t, nil)
	h.up()
	w := dialWire(t, l.Addr(), "probe")
	for id := range uint16(6) {
		p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
		p.TopicName, p.MessageID, p.Qos, p.Payload = "hillfoot/t", id+1, 1, filled(1<<20)
		go p.Write(w.c) // it ends with the connection
		d := h.delivery()
		if len(d.Payload) != 1<<20 {
			t.Errorf("got %d bytes", len(d.Payload))
		}
		d.Ack()
		if ack, ok := w.read().(*packets.PubackPacket); !ok || ack.MessageID != id+1 {
			t.Errorf("got %v, want PUBACK %d", ack, id+1)
		}
	}
}

// login connects as a user and tells the broker's answer.
func login(t *testing.T, addr net.Addr, user, password string) (w *wire, code byte) {
	t.Helper()
	c := dial(t, addr)
	w = &wire{t, c}
	hello := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	hello.ProtocolName, hello.ProtocolVersion, hello.ClientIdentifier, hello.Keepalive, hello.CleanSession = "MQTT", 4, "as "+user+password, 60, true
	hello.UsernameFlag, hello.PasswordFlag, hello.Username, hello.Password = user != "", password != "", user, []byte(password)
	w.send(hello)
	ack, ok := w.read().(*packets.ConnackPacket)
	if !ok {
		t.Fatal("no CONNACK")
	}
	return w, ack.ReturnCode
}

// publishes sends a QoS 1 message and tells whether it was handed over. It is
// answered either way.
func (w *wire) publishes(h *hearing, topic string) (taken bool) {
	w.t.Helper()
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.MessageID, p.Qos, p.Payload = topic, 1, 1, []byte("1")
	w.send(p)
	answered := make(chan packets.ControlPacket, 1)
	go func() {
		ack, err := packets.ReadPacket(bufio.NewReader(w.c))
		if err != nil {
			ack = nil
		}
		answered <- ack
	}()
	for {
		select {
		case it := <-h.items:
			if it.Delivery != nil {
				taken = it.Delivery.Topic == topic
				it.Delivery.Ack()
			}
		case ack := <-answered:
			if _, ok := ack.(*packets.PubackPacket); !ok {
				w.t.Errorf("%s: got %v, want PUBACK", topic, ack)
			}
			return taken
		case <-time.After(patience):
			w.t.Fatalf("%s: no answer", topic)
		}
	}
}

func TestWhoMayPublishWhat(t *testing.T) {
	probes, keeper := ingest.Login{User: "probes", Password: "rhubarb"}, ingest.Login{User: "keeper", Password: "quince"}
	const jot, hush, seen = "binwatch/jot/bed", "binwatch/hush/bed/too-hot", "binwatch/seen/x"
	for _, tt := range []struct {
		name           string
		login, keeper  ingest.Login
		user, password string
		may, mayNot    []string
	}{
		{"loopback, nobody asked", ingest.Login{}, ingest.Login{}, "", "", []string{"hillfoot/t", "glass/bed", jot, hush, seen}, []string{"hillfoot/other", "hillfoot", "binwatch/other", "glass/bed/t"}},
		{"loopback, any user will do", ingest.Login{}, ingest.Login{}, "any", "thing", []string{"hillfoot/t", jot}, nil},
		{"loopback, a login for all", probes, ingest.Login{}, "probes", "rhubarb", []string{"hillfoot/t", jot}, []string{"hillfoot/other"}},
		{"a probe beside a keeper", probes, keeper, "probes", "rhubarb", []string{"hillfoot/t"}, []string{jot, hush, seen, "hillfoot/other"}},
		{"the keeper", probes, keeper, "keeper", "quince", []string{jot, hush, seen, "hillfoot/t"}, []string{"hillfoot/other"}},
		{"a probe without login beside a keeper", ingest.Login{}, keeper, "", "", []string{"glass/x"}, []string{jot}},
		{"the keeper beside probes without login", ingest.Login{}, keeper, "keeper", "quince", []string{jot}, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var log book
			l, h := listener(t, func(c *ingest.ListenerConfig) { log.into(c); c.Login, c.Keeper = tt.login, tt.keeper })
			h.up()
			w, code := login(t, l.Addr(), tt.user, tt.password)
			if code != packets.Accepted {
				t.Fatalf("not let in: %d", code)
			}
			for _, topic := range tt.may {
				if !w.publishes(h, topic) {
					t.Errorf("%s was dropped", topic)
				}
			}
			for _, topic := range tt.mayNot {
				if w.publishes(h, topic) {
					t.Errorf("%s was taken", topic)
				}
			}
			if got := l.Refused(); got != int64(len(tt.mayNot)) {
				t.Errorf("%d refused, want %d", got, len(tt.mayNot))
			}
			if said := log.String(); len(tt.mayNot) > 0 && !strings.Contains(said, tt.mayNot[0]) || strings.Count(said, "\n") > 2 {
				t.Errorf("the log says %q", said)
			}
		})
	}
}

// Beyond loopback nobody may jot until there is a user for it.
func TestNobodyJotsBeyondLoopbackWithoutAKeeper(t *testing.T) {
	var log book
	l, h := listener(t, func(c *ingest.ListenerConfig) {
		log.into(c)
		c.Address, c.Login = "0.0.0.0:0", ingest.Login{User: "probes", Password: "rhubarb"}
	})
	h.up()
	_, port, err := net.SplitHostPort(l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	here, err := net.ResolveTCPAddr("tcp", "127.0.0.1:"+port)
	if err != nil {
		t.Fatal(err)
	}
	w, _ := login(t, here, "probes", "rhubarb")
	if w.publishes(h, "binwatch/jot/bed") || !w.publishes(h, "hillfoot/t") {
		t.Error("a probe has jotted, or may say nothing")
	}
	if got := log.String(); !strings.Contains(got, "broker.keeper") {
		t.Errorf("the log says %q", got)
	}
}

// A wildcard among the probes' topics lets no probe jot.
func TestAWildcardIsNoLeaveToJot(t *testing.T) {
	l, h := listener(t, func(c *ingest.ListenerConfig) {
		c.Topics, c.Keeper = []string{"#"}, ingest.Login{User: "keeper", Password: "quince"}
	})
	h.up()
	w, _ := login(t, l.Addr(), "", "")
	if w.publishes(h, "binwatch/jot/bed") || !w.publishes(h, "binwatch/jotter") {
		t.Error("the wildcard opened the logbook, or nothing")
	}
}

func TestTheKeepersNameNeedsTheKeepersPassword(t *testing.T) {
	probes, keeper := ingest.Login{User: "probes", Password: "rhubarb"}, ingest.Login{User: "keeper", Password: "quince"}
	for _, withLogin := range []bool{true, false} {
		var log book
		l, h := listener(t, func(c *ingest.ListenerConfig) {
			if log.into(c); withLogin {
				c.Login = probes
			}
			c.Keeper = keeper
		})
		h.up()
		for _, try := range [][2]string{{"keeper", "rhubarb"}, {"keeper", ""}, {"keeper", "Quince"}} {
			if _, code := login(t, l.Addr(), try[0], try[1]); code == packets.Accepted {
				t.Errorf("%v was let in", try)
			}
		}
		if _, code := login(t, l.Addr(), "probes", "quince"); (code == packets.Accepted) == withLogin {
			t.Errorf("a probe with the keeper's password: %d", code)
		}
		if said := log.String(); strings.Contains(said, "quince") || strings.Contains(said, "rhubarb") || strings.Count(said, "wrong user or password") != 1 {
			t.Errorf("the log says %q", said)
		}
	}
}

// Other topics after a reload count for the connections that stand.
func TestOtherTopicsInForce(t *testing.T) {
	l, h := listener(t, nil)
	h.up()
	w, _ := login(t, l.Addr(), "", "")
	if !w.publishes(h, "hillfoot/t") || w.publishes(h, "yard/t") {
		t.Error("the topics are not those configured")
	}
	l.Hear([]string{"yard/+"})
	if w.publishes(h, "hillfoot/t") || !w.publishes(h, "yard/t") {
		t.Error("the topics are not those put in force")
	}
}
