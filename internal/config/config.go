package config

import (
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// Need says what a configuration is loaded for.
type Need int

const (
	// ForRun wants everything the daemon needs: broker and journal too.
	ForRun Need = iota
	// ForRehearsal wants the farm alone. What else is there is checked all
	// the same, but nothing is missed.
	ForRehearsal
)

// A Config is a whole configuration, checked, with every default filled in.
// Files are named by absolute paths or relative to the folder the program was
// started in.
type Config struct {
	Farm       farm.Farm
	Broker     Broker
	Journal    Journal
	Control    string  // path of the socket for commands; "" when there is no journal
	Influx     *Influx // nil: no database
	Page       *Page   // nil: no page and no metrics
	Mail       *Mail   // nil: no mail
	SignOfLife *SignOfLife
	Tell       []Teller
	Rounds     *Rounds   // nil: no rounds are sent
	Notes      []Problem // worth knowing, yet no reason to refuse the file
	Barred     int       // how many of the notes keep the daemon from starting: a secret that is there and no good

	doc  document // with defaults filled in, for Show
	file string   // its name, for Wrong
}

// Broker is how probes are heard: by calling brokers at URLs, or by being
// the broker at Listen. One of the two is empty, both when a rehearsal has
// none.
type Broker struct {
	URLs     []string // tried in this order
	Listen   string   // host:port
	User     string
	Password Secret
	TLS      *ClientTLS // nil: none beyond what the URL asks for
	ClientID string
	Prefix   string // of the topics for jots, hushes and seen
	Keeper   *Login // with Listen: who alone may send those; nil: on loopback anybody, else nobody
}

// A Login is a user and where the password lies.
type Login struct {
	User     string
	Password Secret
}

// ClientTLS names the files for a broker with its own authority; Cert and Key
// are empty unless the broker asks for a client certificate.
type ClientTLS struct{ CA, Cert, Key string }

// ServerTLS names the files of a certificate.
type ServerTLS struct{ Cert, Key string }

// Journal is where readings are kept.
type Journal struct {
	Path  string
	Flush time.Duration // longest wait before a commit
	Keep  time.Duration // of raw readings
}

// Flavour is the kind of InfluxDB interface a server has.
type Flavour string

const (
	V1 Flavour = "v1" // database, user, password
	V2 Flavour = "v2" // organisation, bucket, token
)

// Influx is a database that readings are forwarded to.
type Influx struct {
	URL       string
	Flavour   Flavour
	Org       string // v2
	Bucket    string // v2
	Token     Secret // v2; none for a server that asks for none
	Database  string // v1
	Retention string // v1; "" for the database's default
	User      string // v1
	Password  Secret // v1
}

// Part is a part of what page.listen serves that may stay apart from the login.
type Part string

const (
	Health  Part = "health"
	Metrics Part = "metrics"
)

// Page is where the page, the metrics and the health of the daemon are served.
type Page struct {
	Listen   string     // host:port; beyond loopback Password is set
	Password Secret     // none on loopback, if so wished
	TLS      *ServerTLS // nil: plain http
	Open     []Part     // served without the password
}

// Security is how a connection to a mail server is protected.
type Security string

const (
	StartTLS Security = "starttls" // STARTTLS or no mail
	TLS      Security = "tls"      // TLS from the first byte, as on port 465
	Offered  Security = "offered"  // STARTTLS where the server has it; loopback only
	Plain    Security = "none"     // loopback only
)

// Mail is the server that notices and rounds go out by.
type Mail struct {
	Server   string // host:port
	From     string // an address, possibly with a name: Bins <bins@example.org>
	User     string // "" for a server that asks for none
	Password Secret
	Security Security
	CA       string // file of an own authority; "" for the system's
}

// SignOfLife is an address that is called while the daemon is healthy.
type SignOfLife struct {
	URL   Secret
	Every time.Duration
}

// A Teller is one recipient of notices. Exactly one of Mail, Push and Webhook
// is set.
type Teller struct {
	Mail       string // an address
	Push       Secret // the service's URL
	Webhook    string // URL
	Secret     Secret // of the webhook's signature; none: unsigned
	About      []farm.Urgency
	Conditions []farm.Condition // told whatever their urgency
	Bins       []string         // empty: all
	Quiet      Window
	Remind     time.Duration // 0: no reminders
	PerHour    int           // most notices in an hour, those of urgency now apart
}

// Rounds is when the care list goes out by mail, and to whom.
type Rounds struct {
	Send Schedule
	To   []string
}

// secrets lists where secrets are used, with their places.
func (d *document) secrets() []val[Secret] {
	all := []val[Secret]{
		d.broker.v.password, d.broker.v.keeper.v.password, d.influx.v.token, d.influx.v.password,
		d.page.v.password, d.mail.v.password, d.life.v.url,
	}
	for _, t := range d.tell.v {
		all = append(all, t.v.push, t.v.secret)
	}
	return slices.DeleteFunc(all, func(s val[Secret]) bool { return !s.set })
}

// keys lists the files of private keys that are given.
func (d *document) keys() []val[string] {
	all := []val[string]{d.broker.v.tls.v.key, d.page.v.tls.v.key}
	return slices.DeleteFunc(all, func(k val[string]) bool { return !k.set })
}

// slug makes a name fit for a client id: lower-case letters, digits and
// single hyphens.
func slug(name string) string {
	fields := strings.FieldsFunc(strings.ToLower(name), func(c rune) bool {
		return !('a' <= c && c <= 'z' || '0' <= c && c <= '9')
	})
	if len(fields) == 0 {
		return "farm"
	}
	return strings.Join(fields, "-")
}
