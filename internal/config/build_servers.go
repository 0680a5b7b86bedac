package config

import (
	"net/url"
	"path/filepath"

	"binwatchd/internal/loopback"
)

func (b *builder) buildBroker(c *Config) {
	d := &b.doc.broker.v
	if !b.doc.broker.set {
		c.Broker.Prefix = "binwatch"
		return
	}
	b.checkBroker()
	c.Broker = Broker{
		Listen: d.listen.v, User: d.user.v, Password: b.secretAt(&d.password), Prefix: d.prefix.v,
	}
	if d.url.set {
		c.Broker.URLs = []string{d.url.v}
	}
	for _, u := range d.urls.v {
		c.Broker.URLs = append(c.Broker.URLs, u.v)
	}
	if d.tls.set {
		t := &d.tls.v
		c.Broker.TLS = &ClientTLS{CA: b.path(&t.ca), Cert: b.path(&t.cert), Key: b.path(&t.key)}
	}
	if d.keeper.set {
		k := &d.keeper.v
		c.Broker.Keeper = &Login{User: k.user.v, Password: b.secretAt(&k.password)}
	}
	if !d.listen.set {
		d.clientID.or("binwatchd-"+slug(b.farm.Name), "by the farm's name")
		c.Broker.ClientID = d.clientID.v
	}
}

func (b *builder) checkBroker() {
	d, at := &b.doc.broker.v, b.doc.broker.at
	ways := 0
	for _, given := range []bool{d.url.present(), d.urls.present(), d.listen.present()} {
		if given {
			ways++
		}
	}
	switch {
	case ways > 1:
		b.problem(at, "broker has one of url, urls and listen, not several")
	case ways == 0 && b.need == ForRun:
		b.problem(at, `broker needs an address: url: "tcp://127.0.0.1:1883", or listen: "127.0.0.1:1883" to be the broker itself`)
	}
	if d.password.set && !d.user.present() {
		b.problem(d.password.at, "a password needs its user beside it")
	}
	if d.listen.set {
		b.checkListener(d)
	}
	if d.tls.set {
		b.checkBrokerTLS(d)
	}
	b.checkKeeper(d)
}

func (b *builder) checkKeeper(d *brokerDoc) {
	k := d.keeper.v
	switch {
	case !d.keeper.set:
	case !d.listen.present():
		b.problem(d.keeper.at, "keeper is for a broker that binwatchd is itself (listen); at another broker its access list says who may publish under %s/", d.prefix.v)
	case k.user.set && k.user.v == d.user.v:
		b.problem(k.user.at, "the keeper needs another user than the probes: a probe must not be able to jot")
	}
}

func (b *builder) checkListener(d *brokerDoc) {
	if !loopback.Is(hostOf(d.listen.v)) && !(d.user.present() && d.password.present()) {
		b.problem(d.listen.at, "beyond loopback anybody could send readings: add user and password, or listen at 127.0.0.1")
	}
	for _, x := range []val[string]{d.clientID, {at: d.tls.at, set: d.tls.set}} {
		if x.set {
			b.problem(x.at, "this is for calling a broker, and has no meaning with listen")
		}
	}
}

func (b *builder) checkBrokerTLS(d *brokerDoc) {
	t := d.tls.v
	if t.cert.present() != t.key.present() {
		b.problem(d.tls.at, "a client certificate has two files: cert and key")
	}
	for _, u := range append(d.urls.v, d.url) {
		if parsed, err := url.Parse(u.v); u.set && err == nil && isPlainScheme(parsed.Scheme) {
			b.problem(u.at, "tls is given, but this address is a plain one: begin it with ssl:// (and mind the port, often 8883)")
		}
	}
}

// longestSocket is what Linux takes as the path of a socket (unix(7):
// sun_path has 108 bytes, one of them the end).
const longestSocket = 107

// socketBeside is where commands reach the daemon of a journal where control: says
// nothing. Journals of two farms in one folder have two names, and so have their
// sockets.
func socketBeside(journal string) string {
	name := "binwatchd.sock"
	if base := filepath.Base(journal); base != "journal.db" {
		name = "binwatchd-" + base + ".sock"
	}
	return filepath.Join(filepath.Dir(journal), name)
}

func (b *builder) buildJournal(c *Config) {
	d := &b.doc.journal.v
	c.Journal = Journal{Path: b.path(&d.path), Flush: d.flush.v, Keep: d.keep.v}
	if d.path.set {
		b.doc.control.or(socketBeside(d.path.v), "beside the journal")
	}
	c.Control = b.path(&b.doc.control)
	if len(c.Control) > longestSocket {
		at := b.doc.control.at
		if !b.doc.control.given() {
			at = d.path.at
		}
		b.problem(at, "the path of the control socket would have %d bytes, and Linux takes at most %d: set control to a shorter one", len(c.Control), longestSocket)
	}
}

func (b *builder) buildInflux(c *Config) {
	if !b.doc.influx.set {
		return
	}
	d := &b.doc.influx.v
	own, other := b.influxKeys()
	for _, k := range own {
		if k.needed && !k.set {
			b.problem(b.doc.influx.at, "influx of flavour %s needs the key %s", d.flavour.v, k.name)
		}
	}
	for _, k := range other {
		if k.set {
			b.problem(k.at, "%s does not belong to flavour %s", k.name, d.flavour.v)
		}
	}
	if d.user.present() != d.password.present() && d.flavour.v == V1 {
		b.problem(b.doc.influx.at, "user and password go together")
	}
	c.Influx = &Influx{
		URL: d.url.v, Flavour: d.flavour.v, Org: d.org.v, Bucket: d.bucket.v, Token: b.secretAt(&d.token),
		Database: d.database.v, Retention: d.retention.v, User: d.user.v, Password: b.secretAt(&d.password),
	}
}

type flavourKey struct {
	name   string
	set    bool
	at     place
	needed bool
}

// influxKeys gives the keys of the flavour and those of the other one.
func (b *builder) influxKeys() (own, other []flavourKey) {
	d := &b.doc.influx.v
	v1 := []flavourKey{
		{"database", d.database.present(), d.database.at, true},
		{"retention", d.retention.present(), d.retention.at, false},
		{"user", d.user.present(), d.user.at, false},
		{"password", d.password.present(), d.password.at, false},
	}
	v2 := []flavourKey{
		{"org", d.org.present(), d.org.at, true},
		{"bucket", d.bucket.present(), d.bucket.at, true},
		{"token", d.token.present(), d.token.at, false},
	}
	switch d.flavour.v {
	case V1:
		return v1, v2
	case V2:
		return v2, v1
	}
	return nil, nil // the flavour is missing or wrong, which is said already
}

func (b *builder) buildPage(c *Config) {
	if !b.doc.page.set {
		return
	}
	d := &b.doc.page.v
	if d.listen.set && !loopback.Is(hostOf(d.listen.v)) && !d.password.present() {
		b.problem(d.listen.at, "beyond loopback anybody could read and change the farm: add password: {file: PATH}, or listen at 127.0.0.1")
	}
	c.Page = &Page{Listen: d.listen.v, Password: b.secretAt(&d.password)}
	if d.tls.set {
		c.Page.TLS = &ServerTLS{Cert: b.path(&d.tls.v.cert), Key: b.path(&d.tls.v.key)}
	}
	for _, p := range d.open.v {
		c.Page.Open = append(c.Page.Open, p.v)
	}
}

func (b *builder) buildMail(c *Config) {
	if !b.doc.mail.set {
		return
	}
	d := &b.doc.mail.v
	local := loopback.Is(hostOf(d.server.v))
	d.security.or(securityFor(d.server.v, local), "by the server")
	if d.security.given() && !local && (d.security.v == Offered || d.security.v == Plain) {
		b.problem(d.security.at, "%s would let anybody on the way read the mail and the password: use starttls or tls", d.security.v)
	}
	if d.user.present() != d.password.present() {
		b.problem(b.doc.mail.at, "user and password go together")
	}
	c.Mail = &Mail{
		Server: d.server.v, From: d.from.v, User: d.user.v, Password: b.secretAt(&d.password),
		Security: d.security.v, CA: b.path(&d.ca),
	}
}

// securityFor is how mail servers are reached: port 465 is for TLS from the
// first byte (RFC 8314), the others for STARTTLS.
func securityFor(server string, local bool) Security {
	switch {
	case len(server) > 4 && server[len(server)-4:] == ":465":
		return TLS
	case local:
		return Offered
	}
	return StartTLS
}

func (b *builder) buildLife(c *Config) {
	if b.doc.life.set {
		d := &b.doc.life.v
		c.SignOfLife = &SignOfLife{URL: b.secretAt(&d.url), Every: d.every.v}
	}
}
