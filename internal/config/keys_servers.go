package config

import "time"

func broker() codec[brokerDoc] {
	address := scalar("the address of a broker", "tcp://127.0.0.1:1883", parseBrokerURL, asIs)
	return section("the broker", []field[brokerDoc]{
		key("url", "Where the broker is.", address,
			func(d *brokerDoc) *val[string] { return &d.url }),
		key("urls", "Where the brokers of a cluster are, tried in turn.", list("a list of addresses", address),
			func(d *brokerDoc) *val[[]val[string]] { return &d.urls }),
		key("listen", "binwatchd is itself the broker for the probes, at this address; they can only publish.", listen("127.0.0.1:1883"),
			func(d *brokerDoc) *val[string] { return &d.listen }),
		key("user", "Given to the broker, or asked of the probes.", text("a user", "binwatchd"),
			func(d *brokerDoc) *val[string] { return &d.user }),
		key("password", "Of the user.", secret(),
			func(d *brokerDoc) *val[Secret] { return &d.password }),
		key("tls", "For a broker with its own authority or one that asks for a client certificate.", clientTLS(),
			func(d *brokerDoc) *val[clientTLSDoc] { return &d.tls }),
		key("client_id", "Names this daemon to the broker, which keeps messages for it; binwatchd- and the farm's name when left out.",
			text("a client id", "binwatchd-hillfoot"), func(d *brokerDoc) *val[string] { return &d.clientID }),
		key("prefix", "Of the topics for jots, hushes and seen.", checked(text("a prefix", "binwatch"), wrongPrefix),
			func(d *brokerDoc) *val[string] { return &d.prefix }).defaults("binwatch"),
		key("keeper", "With listen: the user who may send jots, hushes and seens; no other may then. Without it they are taken at loopback alone.", login(),
			func(d *brokerDoc) *val[loginDoc] { return &d.keeper }),
	})
}

func login() codec[loginDoc] {
	return section("keeper", []field[loginDoc]{
		key("user", "Asked of the keeper's phone or program; another than the probes'.", text("a user", "keeper"),
			func(d *loginDoc) *val[string] { return &d.user }).needed("keeper"),
		key("password", "Of the user.", secret(),
			func(d *loginDoc) *val[Secret] { return &d.password }).needed("{file: /etc/binwatchd/keeper.secret}"),
	})
}

func clientTLS() codec[clientTLSDoc] {
	return section("tls", []field[clientTLSDoc]{
		key("ca", "Certificate of the authority that signed the broker's.", path(),
			func(d *clientTLSDoc) *val[string] { return &d.ca }),
		key("cert", "Client certificate.", path(),
			func(d *clientTLSDoc) *val[string] { return &d.cert }),
		key("key", "Key of the client certificate.", path(),
			func(d *clientTLSDoc) *val[string] { return &d.key }),
	})
}

func serverTLS() codec[serverTLSDoc] {
	return section("tls", []field[serverTLSDoc]{
		key("cert", "Certificate, with its chain.", path(),
			func(d *serverTLSDoc) *val[string] { return &d.cert }).needed("/etc/binwatchd/page.pem"),
		key("key", "Key of the certificate.", path(),
			func(d *serverTLSDoc) *val[string] { return &d.key }).needed("/etc/binwatchd/page.key"),
	})
}

func journal() codec[journalDoc] {
	return section("the journal", []field[journalDoc]{
		key("path", "The file; its folder must be the daemon's to write.", path(),
			func(d *journalDoc) *val[string] { return &d.path }).neededToRun("/var/lib/binwatchd/journal.db"),
		key("flush", "The longest a reading waits for others before it is written.", duration(10*time.Millisecond, 10*time.Minute),
			func(d *journalDoc) *val[time.Duration] { return &d.flush }).defaults("30s"),
		key("keep", "How long each single reading is kept; hourly and daily figures stay for ever.", duration(day, 90*365*day),
			func(d *journalDoc) *val[time.Duration] { return &d.keep }).defaults("400d"),
	})
}

func influx() codec[influxDoc] {
	return section("influx", []field[influxDoc]{
		key("url", "Where the database is.", scalar("an address", "http://127.0.0.1:8086", parseHTTP, asIs),
			func(d *influxDoc) *val[string] { return &d.url }).needed(`"http://127.0.0.1:8086"`),
		key("flavour", "v2: org, bucket, token. v1: database, user, password, as in InfluxDB 1.x.",
			word("a flavour", []Flavour{V1, V2}), func(d *influxDoc) *val[Flavour] { return &d.flavour }).needed("v2"),
		key("org", "v2: the organisation.", text("an organisation", "hillfoot"),
			func(d *influxDoc) *val[string] { return &d.org }),
		key("bucket", "v2: the bucket.", text("a bucket", "bins"),
			func(d *influxDoc) *val[string] { return &d.bucket }),
		key("token", "v2: may write to the bucket.", secret(),
			func(d *influxDoc) *val[Secret] { return &d.token }),
		key("database", "v1: the database.", text("a database", "bins"),
			func(d *influxDoc) *val[string] { return &d.database }),
		key("retention", "v1: the retention policy; the database's default when left out.", text("a retention policy", "autogen"),
			func(d *influxDoc) *val[string] { return &d.retention }),
		key("user", "v1: may write to the database.", text("a user", "binwatchd"),
			func(d *influxDoc) *val[string] { return &d.user }),
		key("password", "v1: of the user.", secret(),
			func(d *influxDoc) *val[Secret] { return &d.password }),
	})
}

func page() codec[pageDoc] {
	return section("the page", []field[pageDoc]{
		key("listen", "Where the page, /metrics and /healthz are served.", listen("127.0.0.1:8338"),
			func(d *pageDoc) *val[string] { return &d.listen }).defaults(`"127.0.0.1:8338"`),
		key("password", "Asked before the page is shown; needed beyond loopback.", secret(),
			func(d *pageDoc) *val[Secret] { return &d.password }),
		key("tls", "Serves https with this certificate.", serverTLS(),
			func(d *pageDoc) *val[serverTLSDoc] { return &d.tls }),
		key("open", "What is served without the password.", oneOrMore("a list of parts", word("a part of the page", []Part{Health, Metrics})),
			func(d *pageDoc) *val[[]val[Part]] { return &d.open }).defaults("[health]"),
	})
}

func mail() codec[mailDoc] {
	return section("mail", []field[mailDoc]{
		key("server", "Host and port.", scalar("a mail server", "mail.example.org:587", parseMailServer, asIs),
			func(d *mailDoc) *val[string] { return &d.server }).needed(`"mail.example.org:587"`),
		key("from", "The address that mail comes from.", scalar("a mail address", "bins@example.org", parseFrom, asIs),
			func(d *mailDoc) *val[string] { return &d.from }).needed("bins@example.org"),
		key("user", "Given to the server.", text("a user", "bins"),
			func(d *mailDoc) *val[string] { return &d.user }),
		key("password", "Of the user.", secret(),
			func(d *mailDoc) *val[Secret] { return &d.password }),
		key("security", "starttls, or tls from the first byte. On loopback also offered (STARTTLS where the server has it) and none. By the port when left out: tls on 465, else starttls; offered on loopback.",
			word("a kind of security", []Security{StartTLS, TLS, Offered, Plain}), func(d *mailDoc) *val[Security] { return &d.security }),
		key("ca", "Certificate of the server's own authority.", path(),
			func(d *mailDoc) *val[string] { return &d.ca }),
	})
}

func life() codec[lifeDoc] {
	return section("sign_of_life", []field[lifeDoc]{
		key("url", "The address to call.", secret(),
			func(d *lifeDoc) *val[Secret] { return &d.url }).needed("{file: /etc/binwatchd/life.secret}"),
		key("every", "How often.", duration(time.Second, day),
			func(d *lifeDoc) *val[time.Duration] { return &d.every }).defaults("15m"),
	})
}

func listen(example string) codec[string] {
	return scalar("an address to listen at", example, parseListen, asIs)
}
