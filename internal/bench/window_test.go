package main_test

import (
	"bufio"
	"errors"
	"io"
	"net"
	"testing"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// A window is a broker for one subscriber at a time that never leaves more than
// so many messages unacknowledged, as MQTT brokers are meant to. mosquitto
// 2.0.11 is set to the same and does not keep to it once messages queue.
type window struct {
	b        *testing.B
	size     int
	listener net.Listener
	messages []packets.PublishPacket
}

func openWindow(b *testing.B, size int) *window {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	w := &window{b: b, size: size, listener: l}
	b.Cleanup(func() { l.Close() })
	go w.serve()
	return w
}

func (w *window) url() string { return "tcp://" + w.listener.Addr().String() }

func (w *window) serve() {
	for {
		c, err := w.listener.Accept()
		if err != nil {
			return
		}
		if err := w.visit(c); err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, net.ErrClosed) {
			w.b.Errorf("broker: %v", err)
		}
		c.Close()
	}
}

// visit greets a subscriber, then keeps its window full until it leaves.
func (w *window) visit(c net.Conn) error {
	in := bufio.NewReader(c)
	free := make(chan struct{}, w.size)
	for range w.size {
		free <- struct{}{}
	}
	defer close(free)
	for {
		p, err := packets.ReadPacket(in)
		if err != nil {
			return err
		}
		switch p := p.(type) {
		case *packets.ConnectPacket:
			hello := packets.NewControlPacket(packets.Connack).(*packets.ConnackPacket)
			hello.SessionPresent = true
			err = hello.Write(c)
		case *packets.SubscribePacket:
			granted := packets.NewControlPacket(packets.Suback).(*packets.SubackPacket)
			granted.MessageID, granted.ReturnCodes = p.MessageID, make([]byte, len(p.Topics))
			for i := range granted.ReturnCodes {
				granted.ReturnCodes[i] = 1
			}
			err = granted.Write(c)
			go w.send(c, free)
		case *packets.PubackPacket:
			free <- struct{}{}
		case *packets.DisconnectPacket:
			return nil
		}
		if err != nil {
			return err
		}
	}
}

func (w *window) send(c net.Conn, free <-chan struct{}) {
	for i := range w.messages {
		if _, ok := <-free; !ok || w.messages[i].Write(c) != nil {
			return // the subscriber has left; the round fails for want of messages
		}
	}
}

func (w *window) forget(string) {}

// fill makes messages of topics and payloads, for whoever comes.
func (w *window) fill(_ string, _, topics, payloads []string) {
	w.messages = w.messages[:0]
	for i := range topics {
		p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
		p.Qos, p.TopicName, p.Payload, p.MessageID = 1, topics[i], []byte(payloads[i]), uint16(1+i%60_000)
		w.messages = append(w.messages, *p)
	}
}
