package ingest

import (
	"context"
	"crypto/tls"
	"log/slog"
	"net"
	"time"

	"binwatchd/internal/farm"
)

// Reasons for a rejection are few and fixed: they serve as metric labels.
type Reason string

const (
	Unclaimed  Reason = "unclaimed"    // no probe and no command has this topic
	TooLarge   Reason = "too_large"    // payload over 64 KiB
	Empty      Reason = "empty"        // no payload
	NotJSON    Reason = "not_json"     // a JSON Pointer is asked for, the payload is not JSON
	Missing    Reason = "missing"      // the JSON Pointer points at nothing
	NotNumber  Reason = "not_a_number" // something else than a number is there
	BadCommand Reason = "bad_command"  // a jot, hush or seen that can't be understood
	Stale      Reason = "stale"        // a retained jot, hush or seen: it was heard before
)

// A Rejection is a message, or one probe's part of it, that made no reading.
type Rejection struct {
	Probe  string // "" when no probe is concerned
	Reason Reason
	Detail string // a sentence for people; quotes at most a little of the payload
}

// Decoded is what one message became.
type Decoded struct {
	Readings []farm.Reading
	Jot      *farm.Jot
	Hush     *farm.Hush
	Seen     *farm.Seen
	Rejected []Rejection
}

// Decoder: not safe for concurrent use.
type Decoder struct{}

func NewDecoder(f *farm.Farm, prefix string) *Decoder { return &Decoder{} }

// Decode is for messages without a delivery (rehearsals).
func (d *Decoder) Decode(topic string, payload []byte, arrived time.Time) Decoded { return Decoded{} }

// Take decodes a delivery: marks Retained, refuses retained commands.
func (d *Decoder) Take(m *Delivery) Decoded { return Decoded{} }

// Explain says what a message would become.
func (d *Decoder) Explain(topic string, payload []byte, arrived time.Time) string { return "" }

// Filters lists what to subscribe to.
func (d *Decoder) Filters() []string { return nil }

// Doubter: Judge decides r.Doubt and learns; Learn learns from a reading whose doubt is decided;
// Jotted must be told of every jot in journal order (a step after work at the bin is honest).
type Doubter struct{}

func NewDoubter(f *farm.Farm) *Doubter   { return &Doubter{} }
func (d *Doubter) Judge(r *farm.Reading) {}
func (d *Doubter) Learn(r farm.Reading)  {}
func (d *Doubter) Jotted(j farm.Jot)     {}
func (d *Doubter) Save() ([]byte, error) { return nil, nil }
func (d *Doubter) Load(b []byte) error   { return nil }

// Arrivals: Linked at each Link up; Mark each reading after decoding.
type Arrivals struct{}

func NewArrivals(f *farm.Farm) *Arrivals              { return &Arrivals{} }
func (a *Arrivals) Linked(at time.Time, resumed bool) {}
func (a *Arrivals) Mark(r *farm.Reading)              {}

type SourceConfig struct {
	URLs           []string
	User, Password string
	TLS            *tls.Config
	ClientID       string
	Filters        []string
	Log            *slog.Logger
	Now            func() time.Time
}

type Source struct{}

func NewSource(c SourceConfig) *Source          { return &Source{} }
func (s *Source) Run(ctx context.Context) error { return nil }
func (s *Source) Items() <-chan Item            { return nil }
func (s *Source) Reconnect()                    {}

type ListenerConfig struct {
	Address        string // host:port; port 0 takes a free one
	User, Password string // both empty: anyone may publish
	TLS            *tls.Config
	Log            *slog.Logger
	Now            func() time.Time
}

type Listener struct{}

// Listen binds at once, so that an address in use is an error here.
func Listen(c ListenerConfig) (*Listener, error)  { return &Listener{}, nil }
func (l *Listener) Run(ctx context.Context) error { return nil }
func (l *Listener) Items() <-chan Item            { return nil }
func (l *Listener) Reconnect()                    {}
func (l *Listener) Addr() net.Addr                { return nil }
