package main

import (
	"encoding/json"
	"io"
	"net"
	"net/http"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"github.com/emersion/go-smtp"

	"binwatchd/internal/farm"
)

// A ledger is what was promised and when, noted outside of the machine whose power
// is cut. When is a place in the log of writes to its disk (or, where there is no
// log, a count of cuts): all that a promise rests on was written before it.
type ledger struct {
	when func() int64
	away atomic.Bool // the network to broker and recipient is gone

	mu sync.Mutex
	promises
}

// promises are what a recording is held against.
type promises struct {
	Sent     map[string]reading
	Accepted map[string]int64 // by the broker, to the probe
	Kept     map[string]int64 // by the daemon, to the broker
	Told     []telling
	Began    time.Time
	From, To int64 // places in the log where the probes began to talk and where they ended
}

// A telling is a notice that has arrived.
type telling struct {
	ID   string   `json:"id"`
	Also []string `json:"-"` // a mail is of these too, now or before
	farm.Change
	When int64 `json:"when"`
}

func newLedger(when func() int64) *ledger {
	return &ledger{when: when, promises: promises{Began: time.Now(), Sent: map[string]reading{}, Accepted: map[string]int64{}, Kept: map[string]int64{}}}
}

// logSize gives the place in a log that grows.
func logSize(path string) func() int64 {
	return func() int64 {
		info, err := os.Stat(path)
		if err != nil {
			return 0
		}
		return info.Size()
	}
}

func (l *ledger) save(path string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	b, err := json.Marshal(l.promises)
	if err != nil {
		return err
	}
	return os.WriteFile(path, b, 0o600)
}

func loadLedger(path string) (*ledger, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	l := newLedger(nil) // nothing more is promised
	return l, json.Unmarshal(b, &l.promises)
}

func (l *ledger) note(in map[string]int64, key string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if _, known := in[key]; !known {
		in[key] = l.when()
	}
}

func (l *ledger) send(r reading) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.Sent[r.key()] = r
}

// counts are how many readings were sent, accepted by the broker, and kept; and
// how many notices came.
func (l *ledger) counts() (sent, accepted, kept, told int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.Sent), len(l.Accepted), len(l.Kept), len(l.Told)
}

// by gives the keys that were noted up to a place.
func (l *ledger) by(in map[string]int64, place int64) (keys []string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for k, when := range in {
		if when <= place {
			keys = append(keys, k)
		}
	}
	return keys
}

// toldBy gives the notices that had come by a place.
func (l *ledger) toldBy(place int64) (all []telling) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, t := range l.Told {
		if t.When <= place {
			all = append(all, t)
		}
	}
	return all
}

// An ear is where notices come in, by webhook and by mail.
type ear struct {
	port, mail int
	close      func()
}

// listen notes each notice that comes.
func (l *ledger) listen() (*ear, error) {
	hook, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	post, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		hook.Close()
		return nil, err
	}
	hooks := &http.Server{ReadTimeout: time.Minute, Handler: http.HandlerFunc(l.hear)}
	mails := smtp.NewServer(smtp.BackendFunc(func(*smtp.Conn) (smtp.Session, error) {
		if l.away.Load() {
			return nil, io.ErrUnexpectedEOF
		}
		return letter{l}, nil
	}))
	go hooks.Serve(hook) //nolint:errcheck // they end when they are closed
	go mails.Serve(post) //nolint:errcheck
	return &ear{port: hook.Addr().(*net.TCPAddr).Port, mail: post.Addr().(*net.TCPAddr).Port, close: func() { hooks.Close(); mails.Close() }}, nil
}

func (l *ledger) hear(w http.ResponseWriter, r *http.Request) {
	if l.away.Load() {
		panic(http.ErrAbortHandler) // no answer
	}
	body, err := io.ReadAll(r.Body)
	var t telling
	if err == nil {
		err = json.Unmarshal(body, &t)
	}
	if err != nil {
		w.WriteHeader(http.StatusBadRequest)
		return
	}
	l.hears(t)
}

func (l *ledger) hears(t telling) {
	l.mu.Lock()
	defer l.mu.Unlock()
	t.When = l.when()
	l.Told = append(l.Told, t)
}
