package notify

import (
	"crypto/x509"
	"fmt"
	"log/slog"
	"net/url"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// A Config says who is told, and by what means. It holds secrets: it is never
// printed.
type Config struct {
	Farm       farm.Farm
	File       string // path of the configuration, for the commands in letters; "": they name none
	Mail       Mail
	Tellers    []Teller // each with its Key; see [Named]
	Rounds     *RoundsMail
	Life       *Life
	CapPerHour int              // letters an hour to one teller, what is at now not held back; 0: 6
	Gather     time.Duration    // how long a thing waits for others that arise with it; 0: 10s
	Log        *slog.Logger     // nil: nothing is logged
	Now        func() time.Time // journal time: of what is owed, and the date of a mail
	CertTime   func() time.Time // by which certificates are judged; nil: the wall clock
}

// A Mail is the server through which mails leave.
type Mail struct {
	Server   string // host:port; 465 speaks TLS at once, any other port STARTTLS
	From     string // address
	User     string // "": no authentication
	Password string
	Roots    *x509.CertPool // nil: the system's
	Security Security       // "": tls on port 465, else starttls; offered on loopback
	Patience time.Duration  // how long the server may take over one step; 0: a minute
}

// Security is how a conversation with the mail server is protected.
type Security string

const (
	StartTLS Security = "starttls" // STARTTLS or no mail
	TLS      Security = "tls"      // TLS from the first byte
	Offered  Security = "offered"  // STARTTLS where the server has it
	Plain    Security = "none"     // never
)

// Kind is the way to a teller.
type Kind string

const (
	ByMail    Kind = "mail"
	ByPush    Kind = "push"
	ByWebhook Kind = "webhook"
)

// A Teller is one recipient and what it wants to hear.
type Teller struct {
	Key        string // stable name in the outbox and in logs; holds no secret
	Kind       Kind
	To         string           // mail: address
	URL        string           // webhook: where to post; push: the service's URL, a secret
	Secret     string           // webhook: whsec_…; "": not signed
	About      []farm.Urgency   // nil: now and today
	Conditions []farm.Condition // heard whatever their urgency
	Quiet      *Window          // nil: never
	Remind     time.Duration    // of what is at now; 0: never
	Bins       []string         // nil: all; what belongs to no bin is told in any case
	PerHour    int              // letters an hour, what is at now not held back; 0: CapPerHour
}

// RoundsMail is the care list by mail, on schedule.
type RoundsMail struct {
	Schedule Schedule
	To       []string // addresses
}

// A Life is the URL called while the daemon is healthy.
type Life struct {
	URL   string // a secret
	Every time.Duration
}

const usualCap = 6

// How long a thing waits for others that arise with it, where nothing else is
// asked for, and how long at urgency now.
const (
	UsualGather    = 10 * time.Second
	UsualGatherNow = UsualGather / gatherParts
)

// settled gives the configuration with its defaults filled in.
func (c Config) settled() Config {
	if c.CapPerHour == 0 {
		c.CapPerHour = usualCap
	}
	if c.Gather == 0 {
		c.Gather = UsualGather
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.Farm.Location == nil {
		c.Farm.Location = time.UTC
	}
	return c
}

// Named gives the tellers with a key each: mail:ADDRESS, webhook:HOST#2, push:1,
// counted by kind in the order of the configuration. A path or a query of a
// URL may hold a secret and is never part of a key.
func Named(tellers []Teller) []Teller {
	out := append([]Teller(nil), tellers...)
	count := map[Kind]int{}
	seen := map[string]int{}
	for i := range out {
		t := &out[i]
		count[t.Kind]++
		switch t.Kind {
		case ByMail:
			t.Key = "mail:" + strings.ToLower(t.To)
		case ByWebhook:
			t.Key = fmt.Sprintf("webhook:%s#%d", hostOf(t.URL), count[t.Kind])
		default:
			t.Key = fmt.Sprintf("%s:%d", t.Kind, count[t.Kind])
		}
		if seen[t.Key]++; seen[t.Key] > 1 {
			t.Key = fmt.Sprintf("%s#%d", t.Key, seen[t.Key])
		}
	}
	return out
}

// hostOf gives the only part of a URL that is fit to be shown.
func hostOf(raw string) string {
	u, err := url.Parse(raw)
	if err != nil || u.Host == "" {
		return "unreadable"
	}
	return u.Hostname()
}
