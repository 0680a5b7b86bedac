package ingest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/sync/semaphore"
)

// Who connects and says nothing, or is slow about it, has five seconds.
func TestAStrangerHasFiveSeconds(t *testing.T) {
	for _, tt := range []struct {
		name  string
		says  string
		every time.Duration // between its bytes
	}{
		{"says nothing", "", 0},
		{"begins", "\x10\x0c\x00\x04", 0},
		{"a byte a second", "\x10\x0c\x00\x04MQTT\x04\x02\x00\x3c\x00\x00", time.Second},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				here, there := net.Pipe()
				defer there.Close()
				var caller sync.WaitGroup
				caller.Go(func() {
					for i := range tt.says {
						if _, err := there.Write([]byte{tt.says[i]}); err != nil {
							return
						}
						time.Sleep(tt.every)
					}
				})
				began := time.Now()
				v := newProbeConn(here, semaphore.NewWeighted(mostOnTheWay))
				if err := v.greet(); !errors.Is(err, os.ErrDeadlineExceeded) || time.Since(began) != 5*time.Second {
					t.Errorf("after %s: %v", time.Since(began), err)
				}
				v.Close()
				caller.Wait()
			})
		})
	}
}

// A large packet that does not come makes room for another after half a minute.
func TestALargePacketHasHalfAMinute(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		shared := semaphore.NewWeighted(largestPacket)
		here, there := net.Pipe()
		defer there.Close()
		slow := newProbeConn(here, shared)
		go func() { _, _ = there.Write([]byte{0x30, 0xf0, 0xff, 0x7f, 0}) }()
		began := time.Now()
		var err error
		for err == nil {
			_, err = slow.Read(make([]byte, 512))
		}
		if !errors.Is(err, os.ErrDeadlineExceeded) || time.Since(began) != 30*time.Second {
			t.Errorf("after %s: %v", time.Since(began), err)
		}
		if shared.TryAcquire(largestPacket) {
			t.Error("its room was given away while the broker still had it")
		}
		slow.giveBack()
		if !shared.TryAcquire(largestPacket) {
			t.Error("its room did not come back")
		}
	})
}

// A large packet waits for room that others have taken; who is gone meanwhile
// waits no longer.
func TestALargePacketWaitsForRoom(t *testing.T) {
	for _, gone := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			shared := semaphore.NewWeighted(largestPacket)
			if !shared.TryAcquire(largestPacket) {
				t.Fatal("no room at all")
			}
			here, there := net.Pipe()
			defer there.Close()
			v := newProbeConn(here, shared)
			go func() { _, _ = there.Write([]byte{0x30, 0xf0, 0xff, 0x7f, 0}) }()
			began := time.Now()
			go func() {
				time.Sleep(time.Second)
				if gone {
					v.Close()
				} else {
					shared.Release(largestPacket)
				}
			}()
			n, err := v.Read(make([]byte, 512))
			if (n == 0) != gone || (err != nil) != gone || time.Since(began) != time.Second {
				t.Errorf("gone %v: got %d bytes and %v after %s", gone, n, err, time.Since(began))
			}
			v.Close()
		})
	}
}

// Probes that come under a new name each time, and mean to come back, leave no
// more than a number of sessions behind.
func TestSessionsAreBounded(t *testing.T) {
	l, err := Listen(ListenerConfig{Address: "127.0.0.1:0", Log: slog.New(slog.DiscardHandler), Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error)
	go func() { ended <- l.Run(ctx) }()
	<-l.Items() // it is up
	for i := range mostSessions + 100 {
		c, err := net.Dial("tcp", l.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		// CONNECT with the flag of a clean session unset (MQTT 3.1.1, §3.1.2.4), and DISCONNECT.
		fmt.Fprintf(c, "\x10\x11\x00\x04MQTT\x04\x00\x00\x3c\x00\x05%05d\xe0\x00", i)
		if got, err := io.ReadAll(c); err != nil || len(got) != 4 || got[3] != 0 {
			t.Fatalf("got %x, %v, want CONNACK and the end", got, err)
		}
		c.Close()
	}
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if n := l.server.Clients.Len(); n > mostSessions || n < mostSessions-100 {
		t.Errorf("%d sessions are kept, want about %d", n, mostSessions)
	}
}
