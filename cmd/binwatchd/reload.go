package main

import (
	"crypto/sha256"
	"path/filepath"
	"reflect"
	"slices"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
)

// taken is a wanted configuration as far as a reload can put it in force, and the
// names of the parts that wait for a restart: what holds a connection, a port or
// a file open goes on as it was begun.
func taken(running, wanted *config.Config) (cfg *config.Config, waits []string) {
	c := *wanted
	for _, part := range []struct {
		name     string
		is, want any
	}{
		{"broker", running.Broker, wanted.Broker}, {"journal", running.Journal, wanted.Journal}, {"control", running.Control, wanted.Control},
		{"influx", running.Influx, wanted.Influx}, {"page", running.Page, wanted.Page},
	} {
		if !reflect.DeepEqual(part.is, part.want) {
			waits = append(waits, part.name)
		}
	}
	c.Broker, c.Journal, c.Control, c.Influx, c.Page = running.Broker, running.Journal, running.Control, running.Influx, running.Page
	return &c, waits
}

// A seal tells the content of a secret or a certificate from another.
type seal [sha256.Size]byte

// sealsOf reads what a configuration's parts that take a restart have in files
// and variables. What can't be read is left out: its part says so itself.
func sealsOf(cfg *config.Config) map[string]seal {
	out := map[string]seal{}
	secret := func(name string, s config.Secret) {
		if text, err := revealed(s); err == nil {
			out[name] = sha256.Sum256([]byte(text))
		}
	}
	file := func(name, path string) {
		if text, err := config.ReadPlain(path); err == nil {
			out[name] = sha256.Sum256(text)
		}
	}
	secret("broker.password", cfg.Broker.Password)
	if k := cfg.Broker.Keeper; k != nil {
		secret("broker.keeper.password", k.Password)
	}
	if t := cfg.Broker.TLS; t != nil {
		file("broker.tls.ca", t.CA)
		file("broker.tls.cert", t.Cert)
	}
	if i := cfg.Influx; i != nil {
		secret("influx.token", i.Token)
		secret("influx.password", i.Password)
	}
	if p := cfg.Page; p != nil {
		secret("page.password", p.Password)
		if p.TLS != nil {
			file("page.tls.cert", p.TLS.Cert)
		}
	}
	return out
}

// broken names the secrets and certificates that have other content than when
// they were read.
func (d *daemon) broken(cfg *config.Config) (names []string) {
	is := sealsOf(cfg)
	for _, name := range []string{
		"broker.password", "broker.keeper.password", "broker.tls.ca", "broker.tls.cert", "influx.token", "influx.password", "page.password", "page.tls.cert",
	} {
		if was, ok := d.sealed[name]; ok && is[name] != was {
			names = append(names, "the content of "+name)
		}
	}
	return names
}

// logDifference says what a reload has changed, and what of the file waits for a
// restart: at each reload, until there was one.
func (d *daemon) logDifference(old, cfg *config.Config, waits []string) {
	d.log.Info("configuration reloaded", "bins", len(cfg.Farm.Bins), "probes", len(cfg.Farm.Probes))
	if len(waits) > 0 {
		d.log.Warn("these take a restart to change; until then they go on as they were", "parts", farm.SayList(waits))
	}
	gone, come, err := difference(old, cfg)
	if err != nil {
		d.log.Warn("difference not shown", "error", err)
		return
	}
	for _, line := range gone {
		d.log.Info("configuration changed", "was", line)
	}
	for _, line := range come {
		d.log.Info("configuration changed", "is", line)
	}
}

// withoutTellers gives the keys of the tellers that are no longer among others:
// nobody is left to be told what they are owed.
func withoutTellers(was, is []notify.Teller) (gone []string) {
	for _, t := range was {
		if !slices.ContainsFunc(is, func(o notify.Teller) bool { return o.Key == t.Key }) {
			gone = append(gone, t.Key)
		}
	}
	return gone
}

// whole is the path of a configuration from the root, for commands that are
// pasted elsewhere; "" stays.
func whole(path string) string {
	if path == "" {
		return ""
	}
	if abs, err := filepath.Abs(path); err == nil {
		return abs
	}
	return path
}
