package influx

import (
	"cmp"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"time"

	"binwatchd/internal/backoff"
)

// Flavour is which of InfluxDB's write interfaces the server has.
type Flavour string

const (
	V1 Flavour = "v1" // InfluxDB 1.x, as Debian ships it: database, user and password, /write
	V2 Flavour = "v2" // InfluxDB 2.x and what imitates it: organisation, bucket and token, /api/v2/write
)

// A Config says where to write and how patiently. It holds secrets: its String
// leaves them out.
type Config struct {
	Settings // where to write

	Token    string // V2: what lies at Settings.Token
	Password string // V1: what lies at Settings.Password

	// Hold, when set, tells that the times of new readings are not final yet,
	// because the clock is not trusted. Nothing new is read meanwhile.
	Hold func() bool

	// Transport carries the requests; nil is one made for this purpose.
	Transport http.RoundTripper

	Log *slog.Logger     // nil: nothing is logged
	Now func() time.Time // journal time

	// TLS is what https goes by; nil is the machine's authorities.
	TLS *tls.Config

	// CertTime is the time by which certificates are judged; nil: the wall clock.
	CertTime func() time.Time

	Pace Pace

	host string // of URL
}

// A Pace says how much and how often. Zero values take the defaults.
type Pace struct {
	Rows      int           // most rows a request: 5000
	Every     time.Duration // how often to look for new readings when there are none: 10s
	Timeout   time.Duration // of one request: 30s
	RetryMin  time.Duration // first wait when the server is away, doubled each time: 1s
	RetryMax  time.Duration // longest of these waits: 1m
	Mend      time.Duration // wait while only the keeper can mend it: 2m
	AwayAfter time.Duration // how long a server may be away before the keeper is told: 1h
	SaveEvery time.Duration // how often the cursor is saved: 15m
	SaveRows  int           // or after so many rows: 50000
}

func (p Pace) withDefaults() Pace {
	p.Rows = cmp.Or(p.Rows, 5000)
	p.Every = cmp.Or(p.Every, 10*time.Second)
	p.Timeout = cmp.Or(p.Timeout, 30*time.Second)
	p.RetryMin = cmp.Or(p.RetryMin, time.Second)
	p.RetryMax = cmp.Or(p.RetryMax, time.Minute)
	p.Mend = cmp.Or(p.Mend, 2*time.Minute)
	p.AwayAfter = cmp.Or(p.AwayAfter, time.Hour)
	p.SaveEvery = cmp.Or(p.SaveEvery, 15*time.Minute)
	p.SaveRows = cmp.Or(p.SaveRows, 50_000)
	return p
}

// afterFailures is how long to wait after so many failures in a row.
func (p Pace) afterFailures(n int, a answer) time.Duration {
	if a.verdict == refused {
		return p.Mend
	}
	return max(backoff.Doubling{First: p.RetryMin, Most: p.RetryMax}.After(n), a.wait)
}

// complete fills in the defaults and refuses what cannot work.
func (c Config) complete() (Config, error) {
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.Now == nil {
		return c, errors.New("influx: no clock is given")
	}
	c.Pace = c.Pace.withDefaults()
	u, err := url.Parse(c.URL)
	if err != nil {
		return c, fmt.Errorf("influx url: %w", err)
	}
	c.host = u.Host
	switch {
	case u.Scheme != "http" && u.Scheme != "https", u.Host == "":
		return c, fmt.Errorf("influx url: %q is not an http or https address", u.Redacted())
	case u.User != nil:
		return c, errors.New("influx url: user and password do not belong into the address")
	case u.RawQuery != "" || u.Fragment != "":
		return c, fmt.Errorf("influx url: %q has more than an address and a path", c.URL)
	case c.Flavour == V1 && c.Database == "":
		return c, errors.New("influx: flavour v1 needs a database")
	case c.Flavour == V2 && c.Bucket == "":
		return c, errors.New("influx: flavour v2 needs a bucket")
	case c.Measurement == Marks || strings.HasPrefix(c.Measurement, "_"):
		return c, fmt.Errorf("influx: measurement %q is taken: %s are conditions and jots, and what begins with _ is the database's own", c.Measurement, Marks)
	case c.Flavour != V1 && c.Flavour != V2:
		return c, fmt.Errorf("influx: flavour %q is neither v1 nor v2", c.Flavour)
	}
	return c, nil
}

// String tells where the readings go, without any secret.
func (c Config) String() string {
	if c.Flavour == V1 {
		return fmt.Sprintf("database %s at %s", c.Database, c.URL)
	}
	return fmt.Sprintf("bucket %s at %s", c.Bucket, c.URL)
}

// GoString is String, so that %#v shows no secret either.
func (c Config) GoString() string { return "influx.Config{" + c.String() + "}" }

// LogValue is String, so that a log shows no secret either.
func (c Config) LogValue() slog.Value { return slog.StringValue(c.String()) }
