package config

import (
	"time"

	"binwatchd/internal/secret"
)

// Broker is how probes are heard: by calling brokers, or by being the broker at
// Listen. One of URL, URLs and Listen is given, none when a rehearsal has none.
type Broker struct {
	URL      string        `yaml:"url" kind:"the address of a broker" help:"Where the broker is."`
	URLs     []string      `yaml:"urls" kind:"the address of a broker" list:"a list of addresses" help:"Where the brokers of a cluster are, tried in turn."`
	Listen   string        `yaml:"listen" kind:"an address to listen at" like:"127.0.0.1:1883" help:"binwatchd is itself the broker for the probes, at this address; they can only publish."`
	User     string        `yaml:"user" kind:"a user" like:"binwatchd" help:"Given to the broker, or asked of the probes."`
	Password secret.Secret `yaml:"password" help:"Of the user."`
	TLS      *ClientTLS    `yaml:"tls" kind:"tls" help:"For a broker with its own authority or one that asks for a client certificate."`
	ClientID string        `yaml:"client_id" kind:"a client id" like:"binwatchd-hillfoot" help:"Names this daemon to the broker, which keeps messages for it; binwatchd- and the farm's name when left out."`
	Prefix   string        `yaml:"prefix" kind:"a prefix" default:"binwatch" help:"Of the topics for jots, hushes and seen."`
	Keeper   *Login        `yaml:"keeper" kind:"keeper" help:"With listen: the user who may send jots, hushes and seens; no other may then. Without it they are taken at loopback alone."`
}

// Addresses are the brokers to call, in this order.
func (b Broker) Addresses() []string {
	if b.URL != "" {
		return []string{b.URL}
	}
	return b.URLs
}

// A Login is a user and where the password lies.
type Login struct {
	User     string        `yaml:"user" kind:"a user" like:"keeper" need:"keeper" help:"Asked of the keeper's phone or program; another than the probes'."`
	Password secret.Secret `yaml:"password" need:"{file: /etc/binwatchd/keeper.secret}" help:"Of the user."`
}

// ClientTLS names the files for a broker with its own authority.
type ClientTLS struct {
	CA   string `yaml:"ca" kind:"a file" help:"Certificate of the authority that signed the broker's."`
	Cert string `yaml:"cert" kind:"a file" help:"Client certificate."`
	Key  string `yaml:"key" kind:"a private key" help:"Key of the client certificate."`
}

// Journal is where readings are kept.
type Journal struct {
	Path  string        `yaml:"path" kind:"a file" needrun:"/var/lib/binwatchd/journal.db" help:"The file; its folder must be the daemon's to write."`
	Flush time.Duration `yaml:"flush" least:"0.01s" most:"10m" default:"30s" help:"The longest a reading waits for others before it is written."`
	Keep  time.Duration `yaml:"keep" least:"1d" most:"32850d" default:"400d" help:"How long each single reading is kept; hourly and daily figures stay for ever."`
}

// Flavour is the kind of InfluxDB interface a server has.
type Flavour string

const (
	V1 Flavour = "v1" // database, user, password
	V2 Flavour = "v2" // organisation, bucket, token
)

// Influx is a database that readings are forwarded to.
type Influx struct {
	URL       string        `yaml:"url" kind:"an address" need:"\"http://127.0.0.1:8086\"" help:"Where the database is."`
	Flavour   Flavour       `yaml:"flavour" kind:"a flavour" words:"v1 v2" need:"v2" help:"v2: org, bucket, token. v1: database, user, password, as in InfluxDB 1.x."`
	Org       string        `yaml:"org" flavour:"v2,needed" kind:"an organisation" like:"hillfoot" help:"v2: the organisation."`
	Bucket    string        `yaml:"bucket" flavour:"v2,needed" kind:"a bucket" like:"bins" help:"v2: the bucket."`
	Token     secret.Secret `yaml:"token" flavour:"v2" help:"v2: may write to the bucket."`
	Database  string        `yaml:"database" flavour:"v1,needed" kind:"a database" like:"bins" help:"v1: the database."`
	Retention string        `yaml:"retention" flavour:"v1" kind:"a retention policy" like:"autogen" help:"v1: the retention policy; the database's default when left out."`
	User      string        `yaml:"user" flavour:"v1" kind:"a user" like:"binwatchd" help:"v1: may write to the database."`
	Password  secret.Secret `yaml:"password" flavour:"v1" help:"v1: of the user."`
}

// Part is a part of what page.listen serves that may stay apart from the login.
type Part string

const (
	Health  Part = "health"
	Metrics Part = "metrics"
)

// Page is where the page, the metrics and the health of the daemon are served.
type Page struct {
	Listen   string        `yaml:"listen" kind:"an address to listen at" default:"\"127.0.0.1:8338\"" help:"Where the page, /metrics and /healthz are served."`
	Password secret.Secret `yaml:"password" help:"Asked before the page is shown; needed beyond loopback."`
	TLS      *ServerTLS    `yaml:"tls" kind:"tls" help:"Serves https with this certificate."`
	Open     []Part        `yaml:"open,one" kind:"a part of the page" words:"health metrics" list:"a list of parts" default:"[health]" help:"What is served without the password."`
}

// ServerTLS names the files of a certificate.
type ServerTLS struct {
	Cert string `yaml:"cert" kind:"a file" need:"/etc/binwatchd/page.pem" help:"Certificate, with its chain."`
	Key  string `yaml:"key" kind:"a private key" need:"/etc/binwatchd/page.key" help:"Key of the certificate."`
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
	Server   string        `yaml:"server" kind:"a mail server" need:"\"mail.example.org:587\"" help:"Host and port."`
	From     string        `yaml:"from" kind:"a sender" need:"bins@example.org" help:"The address that mail comes from."`
	User     string        `yaml:"user" kind:"a user" like:"bins" help:"Given to the server."`
	Password secret.Secret `yaml:"password" help:"Of the user."`
	Security Security      `yaml:"security" kind:"a kind of security" words:"starttls tls offered none" help:"starttls, or tls from the first byte. On loopback also offered (STARTTLS where the server has it) and none. By the port when left out: tls on 465, else starttls; offered on loopback."`
	CA       string        `yaml:"ca" kind:"a file" help:"Certificate of the server's own authority."`
}

// SignOfLife is an address that is called while the daemon is healthy.
type SignOfLife struct {
	URL   secret.Secret `yaml:"url" need:"{file: /etc/binwatchd/life.secret}" help:"The address to call."`
	Every time.Duration `yaml:"every" least:"1s" most:"1d" default:"15m" help:"How often."`
}

// A Teller is one recipient of notices. Exactly one of Mail, Push and Webhook
// is set.
type Teller struct {
	Mail    string        `yaml:"mail" kind:"a mail address" help:"Told by mail, at this address."`
	Push    secret.Secret `yaml:"push" help:"Told by a push service, whose address is kept secret."`
	Webhook string        `yaml:"webhook" kind:"the address of a webhook" help:"Told by a POST to this address; https, or http on loopback."`
	Secret  secret.Secret `yaml:"secret" help:"Signs what the webhook gets."`
	About   []string      `yaml:"about,one" kind:"an urgency or a condition" list:"a list of urgencies or conditions" default:"[now, today]" help:"Urgencies (now, today, soon), and single conditions that are wanted whatever their urgency."`
	Bins    []string      `yaml:"bins,one" kind:"the name of a bin" like:"bed" list:"a list of bins" help:"Only these; all when left out. What concerns the whole farm is always told."`
	Quiet   Window        `yaml:"quiet" kind:"a stretch of the day" like:"22:00-07:00" help:"A stretch of the day in which only what is urgent now is told."`
	Remind  time.Duration `yaml:"remind" least:"1m" most:"30d" help:"How often what is urgent now is told again until it is eased, seen or hushed."`
	PerHour int           `yaml:"per_hour" kind:"a number of notices" default:"10" help:"The most notices in an hour; the rest come as one. What is urgent now is never held back."`
}

// Rounds is when the care list goes out by mail, and to whom.
type Rounds struct {
	Send Schedule `yaml:"send" kind:"a time of the week" like:"Sat 08:00" need:"\"Sat 08:00\"" help:"Days and time of day, in the farm's time zone."`
	To   []string `yaml:"to,one" kind:"a mail address" list:"a list of mail addresses" need:"keeper@example.org" help:"Mail addresses."`
}
