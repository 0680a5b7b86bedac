package main

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
	"binwatchd/internal/page"
	"binwatchd/internal/secret"
)

// reload puts the configuration file in force as it is now. A bad file
// changes nothing. The session with the broker goes on.
func (d *daemon) reload(ctx context.Context) error {
	if d.path == "" {
		return errors.New("there is no configuration file to reload")
	}
	d.reloading.Lock()
	defer d.reloading.Unlock()
	wanted, err := config.Load(d.path, config.ForRun)
	if err != nil {
		return err
	}
	cfg, waits := taken(d.cfg.Load(), wanted)
	waits = append(waits, d.broken(cfg)...)
	name, err := digest(cfg)
	if err != nil {
		return err
	}
	telling, err := d.newTelling(cfg)
	if err != nil {
		return err
	}
	var o opener
	people := peopleOf(cfg, &o)
	if p := cfg.Page; p != nil {
		o.note("page", page.Check(p.Listen, !p.Password.IsZero() || hasLogin(people)))
	}
	if err := o.err(); err != nil {
		return err
	}
	if err := d.loop.Reload(ctx, &cfg.Farm, name); err != nil {
		return err // the sender in force stays, and with it what it told from memory
	}
	gone := withoutTellers(d.sending.now().tellers, telling.tellers)
	d.sending.set(telling)
	if err := telling.Forget(ctx, gone); err != nil {
		d.log.Warn("what is owed to tellers that are gone stays owed", "error", err)
	}
	d.hear(cfg)
	d.admit(people)
	d.logDifference(d.cfg.Swap(cfg), cfg, waits)
	d.often.anew()
	d.often.reliability.Drop()
	return nil
}

// digest names a configuration, so that a snapshot taken under another is
// noticed. It is made of what is in force, secrets redacted.
func digest(cfg *config.Config) (string, error) {
	text, err := inForce(cfg)
	sum := sha256.Sum256([]byte(versionName() + "\n" + text))
	return hex.EncodeToString(sum[:8]), err
}

// inForce is a configuration written out with every value.
func inForce(cfg *config.Config) (string, error) {
	var b strings.Builder
	if err := cfg.Show(&b); err != nil {
		return "", fmt.Errorf("write out the configuration: %w", err)
	}
	return b.String(), nil
}

// without gives the lines of a that b does not have as often.
func without(a, b string) (out []string) {
	left := map[string]int{}
	for l := range strings.SplitSeq(b, "\n") {
		left[l]++
	}
	for l := range strings.SplitSeq(a, "\n") {
		if left[l]--; left[l] < 0 {
			out = append(out, strings.TrimSpace(l))
		}
	}
	return out
}

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
type seal struct {
	name string // of its key in the configuration
	sum  [sha256.Size]byte
}

// sealsOf reads what a configuration's parts that take a restart have in files
// and variables. What can't be read is left out: its part says so itself.
func sealsOf(cfg *config.Config) (out []seal) {
	hidden := func(name string, s secret.Secret) {
		if text, err := revealed(s); err == nil {
			out = append(out, seal{name, sha256.Sum256([]byte(text))})
		}
	}
	file := func(name, path string) {
		if text, err := secret.ReadPlain(path); err == nil {
			out = append(out, seal{name, sha256.Sum256(text)})
		}
	}
	hidden("broker.password", cfg.Broker.Password)
	if k := cfg.Broker.Keeper; k != nil {
		hidden("broker.keeper.password", k.Password)
	}
	if t := cfg.Broker.TLS; t != nil {
		file("broker.tls.ca", t.CA)
		file("broker.tls.cert", t.Cert)
	}
	if i := cfg.Influx; i != nil {
		hidden("influx.token", i.Token)
		hidden("influx.password", i.Password)
		file("influx.ca", i.CA)
		file("influx.cert", i.Cert)
	}
	if p := cfg.Page; p != nil {
		hidden("page.password", p.Password)
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
	for _, was := range d.sealed {
		if !slices.Contains(is, was) {
			names = append(names, "the content of "+was.name)
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
	was, errWas := inForce(old)
	is, errIs := inForce(cfg)
	if err := cmp.Or(errWas, errIs); err != nil {
		d.log.Warn("difference not shown", "error", err)
		return
	}
	for _, line := range without(was, is) {
		d.log.Info("configuration changed", "was", line)
	}
	for _, line := range without(is, was) {
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
	if abs, err := filepath.Abs(path); path != "" && err == nil {
		return abs
	}
	return path
}

// farms are the one place from which the daemon's parts have the farm: the one in
// force, and for what is passed on late the one that was when it was noted.
type farms struct {
	mu    sync.Mutex
	known []farmSince // oldest first
}

// A farmSince is a farm and the sequence number of the event from which on it was in
// force.
type farmSince struct {
	farm *farm.Farm
	from int64
}

// mostFarms bounds what is remembered: reloads of one run of the daemon.
const mostFarms = 64

// take puts a farm in force from a place on.
func (f *farms) take(fm *farm.Farm, from int64) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if n := len(f.known); n > 0 && f.known[n-1].farm == fm {
		return // the loop began anew under the same one
	}
	if n := len(f.known); n > 0 && renames(f.known[n-1].farm, fm) {
		f.known = nil // the journal gives the names of now, of all times
	}
	if len(f.known) == mostFarms {
		f.known = f.known[1:]
	}
	f.known = append(f.known, farmSince{fm, from})
}

// renames tells whether anything of a farm is called otherwise than under the one before.
func renames(before, now *farm.Farm) bool {
	said := func(f *farm.Farm) (all []string) {
		for _, b := range f.Bins {
			all = append(all, b.Was...)
			for _, z := range b.Zones {
				all = append(all, z.Was...)
			}
		}
		for _, p := range f.Probes {
			all = append(all, p.Was...)
		}
		return all
	}
	return !slices.Equal(said(before), said(now))
}

// now is the farm in force.
func (f *farms) now() *farm.Farm { return f.at(math.MaxInt64) }

// at is the farm that was in force at a place; the oldest known where that is not
// known any more.
func (f *farms) at(seq int64) *farm.Farm {
	f.mu.Lock()
	defer f.mu.Unlock()
	for i := len(f.known) - 1; i > 0; i-- {
		if f.known[i].from <= seq {
			return f.known[i].farm
		}
	}
	return f.known[0].farm
}
