package main

import (
	"bufio"
	"encoding/binary"
	"io"
	"net"
	"sync"
)

// A relay stands between daemon and broker and reads what passes: MQTT 3.1.1,
// section 2 (control packets), 3.3 (PUBLISH) and 3.4 (PUBACK). So it is known
// outside of the machine which readings the daemon has acknowledged.
type relay struct {
	listener net.Listener
	broker   string
	ledger   *ledger
}

func startRelay(l *ledger, broker string) (*relay, error) {
	at, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	r := &relay{listener: at, broker: broker, ledger: l}
	go r.serve()
	return r, nil
}

func (r *relay) port() int { return r.listener.Addr().(*net.TCPAddr).Port }

func (r *relay) serve() {
	for {
		daemon, err := r.listener.Accept()
		if err != nil {
			return
		}
		if r.ledger.away.Load() {
			daemon.Close()
			continue
		}
		go r.link(daemon)
	}
}

func (r *relay) close() { r.listener.Close() }

// link joins two ends until one of them is gone.
func (r *relay) link(daemon net.Conn) {
	defer daemon.Close()
	broker, err := net.Dial("tcp", r.broker)
	if err != nil {
		return
	}
	defer broker.Close()
	under := &underWay{keys: map[uint16]string{}}
	go func() {
		r.pass(broker, daemon, under.published)
		daemon.Close()
	}()
	r.pass(daemon, broker, func(p packet) {
		if key, ok := under.acknowledged(p); ok {
			r.ledger.note(r.ledger.Kept, key)
		}
	})
}

// A packet is one control packet of MQTT.
type packet struct {
	kind, flags byte
	body        []byte // after the fixed header
}

const (
	publish = 3
	puback  = 4
)

// readPacket reads one packet and gives its bytes too.
func readPacket(from *bufio.Reader) (p packet, all []byte, err error) {
	first, err := from.ReadByte()
	if err != nil {
		return p, nil, err
	}
	all = []byte{first}
	length, shift := 0, 0
	for more := true; more; shift += 7 {
		b, err := from.ReadByte()
		if err != nil {
			return p, nil, err
		}
		all = append(all, b)
		length |= int(b&0x7f) << shift
		more = b&0x80 != 0
	}
	body := make([]byte, length)
	if _, err := io.ReadFull(from, body); err != nil {
		return p, nil, err
	}
	return packet{kind: first >> 4, flags: first & 0xf, body: body}, append(all, body...), nil
}

// pass hands packets on, and sees each before it goes, while there is a network.
func (r *relay) pass(from, to net.Conn, see func(packet)) {
	in := bufio.NewReader(from)
	for {
		p, all, err := readPacket(in)
		if err != nil || r.ledger.away.Load() {
			return
		}
		see(p)
		if _, err := to.Write(all); err != nil {
			return
		}
	}
}

// underWay is which reading travels under which packet id, on one link.
type underWay struct {
	mu   sync.Mutex
	keys map[uint16]string
}

func (u *underWay) published(p packet) {
	if p.kind != publish || p.flags&6 == 0 || len(p.body) < 2 { // QoS 0 is not acknowledged
		return
	}
	n := int(binary.BigEndian.Uint16(p.body))
	if len(p.body) < n+4 {
		return
	}
	if key, ok := keyOf(string(p.body[2:2+n]), p.body[n+4:]); ok {
		u.mu.Lock()
		defer u.mu.Unlock()
		u.keys[binary.BigEndian.Uint16(p.body[2+n:])] = key
	}
}

func (u *underWay) acknowledged(p packet) (key string, ok bool) {
	if p.kind != puback || len(p.body) < 2 {
		return "", false
	}
	u.mu.Lock()
	defer u.mu.Unlock()
	id := binary.BigEndian.Uint16(p.body)
	key, ok = u.keys[id]
	delete(u.keys, id)
	return key, ok
}
