package ingest

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"slices"
	"sync"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// mostSessions bounds how many sessions are kept in all, of those who are
// connected and of those who mean to come back.
const mostSessions = 2 * mostProbes

// A hook stands between the embedded broker and the Listener: the broker
// asks it who may come in and do what, and shows it every message before it
// answers.
type hook struct {
	mqtt.HookBase
	listener *Listener
}

func (p *hook) ID() string { return "hook" }

func (p *hook) Provides(what byte) bool {
	return slices.Contains([]byte{mqtt.OnConnect, mqtt.OnConnectAuthenticate, mqtt.OnACLCheck, mqtt.OnPublish, mqtt.OnWill, mqtt.OnDisconnect}, what)
}

// OnConnect forgets a last will that nobody would hear, or that would write in the
// logbook. What is kept is neither retained nor put off.
func (p *hook) OnConnect(cl *mqtt.Client, _ packets.Packet) error {
	will := &cl.Properties.Will
	v, ok := cl.Net.Conn.(*probeConn)
	if !ok || will.Flag == 0 || isCommand(p.listener.cfg.Prefix, will.TopicName) || !p.listener.may(v, will.TopicName) {
		*will = mqtt.Will{}
	}
	will.Retain, will.WillDelayInterval = false, 0
	return nil
}

// OnWill hands over the last will of a device that has gone without a word.
func (p *hook) OnWill(_ *mqtt.Client, will mqtt.Will) (mqtt.Will, error) {
	p.listener.hand(context.Background(), &Delivery{Topic: will.TopicName, Payload: will.Payload, Arrived: p.listener.cfg.Now(), Ack: func() {}})
	return will, nil
}

// OnConnectAuthenticate lets in who shows a user and a password.
func (p *hook) OnConnectAuthenticate(cl *mqtt.Client, pk packets.Packet) bool {
	v, ok := cl.Net.Conn.(*probeConn)
	if !ok {
		return false
	}
	shown := Login{string(pk.Connect.Username), string(pk.Connect.Password)}
	person := p.listener.person(shown)
	keeper, ok := p.listener.cfg.admits(shown.User, shown.Password)
	if person != nil {
		keeper, ok = false, *person == shown
	}
	if !ok {
		p.listener.refusals.note("probes refused: wrong user or password", "from", v.RemoteAddr().String())
		return false
	}
	if v.keeper = keeper; person != nil {
		v.person = shown
	}
	p.listener.conns.known(v)
	return true
}

// person finds who of the people may come in by a login: nil where the user is none of
// them, and the zero one where the password is not theirs. It takes a time that tells
// nothing of the passwords.
func (l *Listener) person(shown Login) (found *Login) {
	for _, p := range *l.people.Load() {
		right := p.matches(shown.User, shown.Password)
		switch {
		case right:
			found = &p
		case p.User == shown.User:
			found = &Login{}
		}
	}
	return found
}

// admits tells whether a user may come in, and whether as the keeper. It takes
// a time that tells nothing of the passwords.
func (c *ListenerConfig) admits(user, password string) (keeper, ok bool) {
	asKeeper, asProbe := c.Keeper.matches(user, password), c.Login.matches(user, password)
	switch {
	case c.Keeper.asked() && asKeeper:
		return true, true
	case c.Keeper.asked() && user == c.Keeper.User: // also where probes need no password
		return false, false
	}
	return false, asProbe || !c.Login.asked()
}

// A Login is a user and a password.
type Login struct{ User, Password string }

// asked tells whether there is a login at all.
func (l Login) asked() bool { return l.User != "" || l.Password != "" }

func (l Login) matches(user, password string) bool {
	u, p := same(user, l.User), same(password, l.Password)
	return u && p
}

func same(a, b string) bool {
	x, y := sha256.Sum256([]byte(a)), sha256.Sum256([]byte(b))
	return subtle.ConstantTimeCompare(x[:], y[:]) == 1
}

// OnACLCheck lets nobody subscribe but who may jot, to the answers. What may be
// published is OnPublish's to say: the broker would close the connection of a probe
// over one wrong topic.
func (p *hook) OnACLCheck(cl *mqtt.Client, topic string, write bool) bool {
	v, ok := cl.Net.Conn.(*probeConn)
	return write || ok && isAnswer(p.listener.cfg.Prefix, topic) && p.listener.mayCommand(v)
}

// OnPublish hands a message over and, unless it is QoS 0, stays until it is
// acknowledged; each probe's connection has its own goroutine for that. When
// it is not to be acknowledged, ErrRejectPacket is the only answer that makes
// the broker keep silent. Nothing is retained.
//
// What its sender may not publish is dropped, and answered like any other
// message. MQTT 3.1.1 (§3.3.5) leaves a choice between that and hanging up, and
// whoever is hung up on sends the same again for ever, with all that waits behind
// it. The log says what was dropped.
func (p *hook) OnPublish(cl *mqtt.Client, pk packets.Packet) (packets.Packet, error) {
	if cl.Net.Inline { // an answer of our own
		return pk, nil
	}
	v, ok := cl.Net.Conn.(*probeConn)
	if !ok {
		return pk, packets.ErrRejectPacket
	}
	pk.FixedHeader.Retain = false
	if !p.listener.may(v, pk.TopicName) {
		return pk, nil
	}
	safe := make(chan struct{})
	var once sync.Once
	d := &Delivery{
		Topic: pk.TopicName, Payload: pk.Payload, QoS: pk.FixedHeader.Qos, ID: pk.PacketID, Sender: v.sender(cl), User: v.person.User,
		Dup: pk.FixedHeader.Dup, Hurry: pk.FixedHeader.Qos > 0, Arrived: p.listener.cfg.Now(),
		Ack: func() { once.Do(func() { close(safe) }) },
	}
	if !p.listener.hand(v.life, d) || d.QoS > 0 && !p.listener.stay(v.life, safe) {
		return pk, packets.ErrRejectPacket
	}
	return pk, nil
}

// OnDisconnect forgets the session of who has left, if there are too many.
func (p *hook) OnDisconnect(cl *mqtt.Client, _ error, _ bool) {
	if clients := p.listener.server.Clients; clients.Len() > mostSessions && !cl.IsTakenOver() {
		clients.Delete(cl.ID)
	}
}

// hand gives a delivery to the caller, and waits until it is taken: what waits
// is held by its own connection, one message each, so that no sender can fill the
// memory. A message whose connection is gone is not handed over.
func (l *Listener) hand(life context.Context, d *Delivery) bool {
	l.mu.RLock()
	defer l.mu.RUnlock()
	if life.Err() != nil {
		return false
	}
	select {
	case l.items <- Item{Delivery: d}:
		return true
	case <-life.Done():
	case <-l.done:
	}
	return false
}

// stay waits until a delivery is acknowledged, or nobody needs to know.
func (l *Listener) stay(life context.Context, safe <-chan struct{}) bool {
	select {
	case <-safe:
		return true
	case <-life.Done():
	case <-l.done:
	}
	return false
}
