package ingest

import (
	"crypto/sha256"
	"crypto/subtle"
	"sync"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// A porter stands between the embedded broker and the Listener: the broker
// asks it who may come in and do what, and shows it every message before it
// answers.
type porter struct {
	mqtt.HookBase
	listener *Listener

	mu      sync.Mutex
	refused int       // since it was last said
	saidAt  time.Time // when that was
}

// refusalsEvery is how often refusals are logged: a probe with a wrong
// password tries for ever.
const refusalsEvery = time.Minute

func (p *porter) ID() string { return "porter" }

func (p *porter) Provides(what byte) bool {
	return what == mqtt.OnConnectAuthenticate || what == mqtt.OnACLCheck || what == mqtt.OnPublish || what == mqtt.OnWill
}

// OnConnectAuthenticate compares user and password in a time that tells
// nothing of them.
func (p *porter) OnConnectAuthenticate(_ *mqtt.Client, pk packets.Packet) bool {
	c := p.listener.cfg
	if c.User == "" && c.Password == "" {
		return true
	}
	user := same(string(pk.Connect.Username), c.User)
	password := same(string(pk.Connect.Password), c.Password)
	if !user || !password {
		p.sayRefused()
		return false
	}
	return true
}

func (p *porter) sayRefused() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.refused++
	if now := p.listener.cfg.Now(); now.Sub(p.saidAt) >= refusalsEvery {
		p.listener.cfg.Log.Warn("probes refused: wrong user or password", "times", p.refused)
		p.refused, p.saidAt = 0, now
	}
}

func same(a, b string) bool {
	x, y := sha256.Sum256([]byte(a)), sha256.Sum256([]byte(b))
	return subtle.ConstantTimeCompare(x[:], y[:]) == 1
}

// OnACLCheck lets everybody publish and nobody subscribe.
func (p *porter) OnACLCheck(_ *mqtt.Client, _ string, write bool) bool { return write }

// OnWill keeps no last wishes.
func (p *porter) OnWill(_ *mqtt.Client, w mqtt.Will) (mqtt.Will, error) {
	w.Retain = false
	return w, nil
}

// OnPublish hands a message over and, unless it is QoS 0, stays until it is
// acknowledged; each probe's connection has its own goroutine for that. When
// it is not to be acknowledged, ErrRejectPacket is the only answer that makes
// the broker keep silent. Nothing is retained.
func (p *porter) OnPublish(cl *mqtt.Client, pk packets.Packet) (packets.Packet, error) {
	v, ok := cl.Net.Conn.(*visitor)
	if !ok {
		return pk, packets.ErrRejectPacket
	}
	safe := make(chan struct{})
	var once sync.Once
	d := &Delivery{
		Topic: pk.TopicName, Payload: pk.Payload, QoS: pk.FixedHeader.Qos, ID: pk.PacketID,
		Dup: pk.FixedHeader.Dup, Hurry: pk.FixedHeader.Qos > 0, Arrived: p.listener.cfg.Now(),
		Ack: func() { once.Do(func() { close(safe) }) },
	}
	if !p.listener.hand(d, v.gone) || d.QoS > 0 && !p.listener.stay(safe, v.gone) {
		return pk, packets.ErrRejectPacket
	}
	pk.FixedHeader.Retain = false
	return pk, nil
}

// hand gives a delivery to the caller. One of QoS 0 is dropped when there is
// no room; any other waits, unless its connection is gone: then it comes again.
func (l *Listener) hand(d *Delivery, gone <-chan struct{}) bool {
	l.mu.RLock()
	defer l.mu.RUnlock()
	select {
	case <-gone:
		return false
	default:
	}
	if d.QoS == 0 {
		select {
		case l.items <- Item{Delivery: d}:
		default:
			l.dropped.Add(1)
		}
		return true
	}
	select {
	case l.items <- Item{Delivery: d}:
		return true
	case <-gone:
	case <-l.done:
	}
	return false
}

// stay waits until a delivery is acknowledged, or nobody needs to know.
func (l *Listener) stay(safe, gone <-chan struct{}) bool {
	select {
	case <-safe:
		return true
	case <-gone:
	case <-l.done:
	}
	return false
}
