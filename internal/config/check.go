package config

import (
	"cmp"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
	"binwatchd/internal/ingest"
	"binwatchd/internal/loopback"
	"binwatchd/internal/notify"
	"binwatchd/internal/secret"
)

// A builder turns a file into a Config. It checks what only shows when values are
// looked at together, and fills defaults that depend on others into the file, so
// that Show prints them. What it builds is used only when no problem was found.
type builder struct {
	*reader
	file    *File
	folder  string
	now     time.Time
	machine *time.Location
	notes   []Problem
	barred  int // how many of them keep the daemon from starting
	farm    farm.Farm
	probes  map[string]farm.Probe // by id, templates already filled in
	old     map[*string]bool      // names of probes in zones that are retired
}

func (b *builder) build() {
	b.buildSite()
	b.buildSpecies()
	b.buildFeeds()
	b.buildVessels()
	b.buildBins()
	b.buildRooms()
	b.walk()
	b.buildProbes()
	b.checkAllNames()
	b.paths()
	b.checkBroker()
	b.checkJournal()
	b.checkInflux()
	b.checkPage()
	b.checkMail()
	b.checkTell()
	b.noteSecrets()
	b.inForce()
}

func (b *builder) buildSite() {
	d := b.file
	or(b.marks, &d.Timezone, b.machine.String(), "the machine's")
	b.farm.Name, b.farm.Units, b.farm.Location = d.FarmName, d.Units, b.machine
	if b.given(&d.Timezone) {
		if loc, err := loadZone(d.Timezone); err == nil {
			b.farm.Location = loc
		}
	}
	for i := range d.Needs {
		b.buildNeed(&d.Needs[i])
	}
}

// buildNeed gives a need its year.
func (b *builder) buildNeed(n *Castings) {
	if !b.set(&n.By) {
		return // its problem is known
	}
	by := n.By.from(b.now, b.farm.Location)
	if by.AddDate(0, 0, 1).Before(b.now) {
		b.note(b.at(&n.By), "this day is over")
	}
	n.By = Date{by.Year(), by.Month(), by.Day()}
	b.farm.Needs = append(b.farm.Needs, farm.Need{CastingsL: n.Castings, By: by, For: n.For})
}

// note records what is worth knowing but no reason to refuse the file.
func (b *builder) note(at place, format string, args ...any) {
	r := reader{file: b.reader.file}
	r.problem(at, format, args...)
	b.notes = append(b.notes, r.problems...)
}

// paths makes the names of files absolute, those of secrets too.
func (b *builder) paths() {
	b.each(func(v reflect.Value, kind string) {
		switch p := pointer(v).(type) {
		case *string:
			if (kind == "a file" || kind == "a folder" || kind == "a private key") && *p != "" && !filepath.IsAbs(*p) {
				*p = filepath.Join(b.folder, *p)
			}
		case *secret.Secret:
			*p = p.Beside(b.folder)
		}
	})
}

// noteSecrets tries each secret and each private key: on the desk where a file is
// written they seldom lie, on the machine that runs it they must.
func (b *builder) noteSecrets() {
	if b.need == ForRehearsal || len(b.problems) > 0 {
		return
	}
	b.each(func(v reflect.Value, kind string) {
		var err error
		switch p := pointer(v).(type) {
		case *string:
			if kind == "a private key" {
				_, err = secret.ReadKey(*p)
			}
		case *secret.Secret:
			_, err = p.Reveal()
		}
		if err == nil {
			return
		}
		b.note(b.at(pointer(v)), "%v", err)
		if !secret.Unreachable(err) { // there and no good: it is so on any desk
			b.barred++
		}
	})
}

// each calls do with every value that is set, and with its kind.
func (b *builder) each(do func(v reflect.Value, kind string)) {
	var walk func(v reflect.Value, kind string)
	walk = func(v reflect.Value, kind string) {
		switch {
		case v.Kind() == reflect.Pointer && !v.IsNil():
			walk(v.Elem(), kind)
		case v.Kind() == reflect.Slice:
			for i := range v.Len() {
				walk(v.Index(i), kind)
			}
		case isSection(v.Type()):
			for i := range v.NumField() {
				walk(v.Field(i), v.Type().Field(i).Tag.Get("kind"))
			}
		case v.CanAddr() && b.set(pointer(v)):
			do(v, kind)
		}
	}
	walk(reflect.ValueOf(b.file).Elem(), "")
}

// refuse reports that a value is wrong in the light of others.
func (b *builder) refuse(wrong bool, key any, format string, args ...any) {
	if wrong {
		b.problem(b.at(key), format, args...)
	}
}

// count tells how many of some keys are there.
func (b *builder) count(keys ...any) (n int) {
	for _, k := range keys {
		if b.present(k) {
			n++
		}
	}
	return n
}

func (b *builder) checkBroker() {
	d := &b.file.Broker
	if !b.set(d) {
		d.Prefix = "binwatch"
		return
	}
	ways := b.count(&d.URL, &d.URLs, &d.Listen)
	b.refuse(ways > 1, d, "broker has one of url, urls and listen, not several")
	b.refuse(ways == 0 && b.need == ForRun, d,
		`broker needs an address: url: "tcp://127.0.0.1:1883", or listen: "127.0.0.1:1883" to be the broker itself`)
	b.refuse(b.set(&d.Password) && !b.present(&d.User), &d.Password, "a password needs its user beside it")
	if b.set(&d.Listen) {
		b.refuse(!loopback.Is(hostOf(d.Listen)) && b.count(&d.User, &d.Password) < 2, &d.Listen,
			"beyond loopback anybody could send readings: add user and password, or listen at 127.0.0.1")
		for _, x := range []any{&d.ClientID, &d.TLS} {
			b.refuse(b.set(x), x, "this is for calling a broker, and has no meaning with listen")
		}
	} else {
		or(b.marks, &d.ClientID, "binwatchd-"+slug(b.farm.Name), "by the farm's name")
	}
	if b.set(&d.TLS) {
		b.checkBrokerTLS(d)
	}
	if b.set(&d.Keeper) {
		listens, user := b.present(&d.Listen), &d.Keeper.User
		b.refuse(!listens, &d.Keeper,
			"keeper is for a broker that binwatchd is itself (listen); at another broker its access list says who may publish under %s/", d.Prefix)
		b.refuse(listens && b.set(user) && *user == d.User, user, "the keeper needs another user than the probes: a probe must not be able to jot")
	}
}

func (b *builder) checkBrokerTLS(d *ingest.BrokerSettings) {
	b.refuse(b.count(&d.TLS.Cert, &d.TLS.Key) == 1, &d.TLS, "a client certificate has two files: cert and key")
	urls := []*string{&d.URL}
	for i := range d.URLs {
		urls = append(urls, &d.URLs[i])
	}
	for _, u := range urls {
		scheme, _, _ := strings.Cut(strings.ToLower(*u), ":")
		b.refuse(b.set(u) && isPlainScheme(scheme), u,
			"tls is given, but this address is a plain one: begin it with ssl:// (and mind the port, often 8883)")
	}
}

var noSlug = regexp.MustCompile("[^a-z0-9]+")

// slug makes a name fit for a client id: lower-case letters, digits and
// single hyphens.
func slug(name string) string {
	return cmp.Or(strings.Trim(noSlug.ReplaceAllString(strings.ToLower(name), "-"), "-"), "farm")
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

func (b *builder) checkJournal() {
	path, control := &b.file.Journal.Path, &b.file.Control
	if b.set(path) {
		or(b.marks, control, socketBeside(*path), "beside the journal")
	}
	if len(*control) > longestSocket {
		at := b.at(control)
		if !b.given(control) {
			at = b.at(path)
		}
		b.problem(at, "the path of the control socket would have %d bytes, and Linux takes at most %d: set control to a shorter one", len(*control), longestSocket)
	}
}

// checkInflux holds the keys of one flavour against those of the other.
func (b *builder) checkInflux() {
	d := b.file.Influx
	if !b.set(&b.file.Influx) || d.Flavour == "" { // its problem is known
		return
	}
	v := reflect.ValueOf(d).Elem()
	for i := range v.NumField() {
		f, key := v.Type().Field(i), pointer(v.Field(i))
		name, _ := yamlTag(f)
		flavour, demand, _ := strings.Cut(f.Tag.Get("flavour"), ",")
		switch own := flavour == string(d.Flavour); {
		case flavour == "":
		case own && demand == "needed" && !b.present(key):
			b.problem(b.at(&b.file.Influx), "influx of flavour %s needs the key %s", d.Flavour, name)
		case !own && b.present(key):
			b.problem(b.at(key), "%s does not belong to flavour %s", name, d.Flavour)
		}
	}
	b.refuse(b.count(&d.Cert, &d.Key) == 1, &b.file.Influx, "a client certificate has two files: cert and key")
	b.refuse(b.count(&d.CA, &d.Cert) > 0 && strings.HasPrefix(d.URL, "http://"), &d.URL, "ca, cert and key are for https://")
	b.refuse(b.count(&d.User, &d.Password) == 1 && d.Flavour == influx.V1, &b.file.Influx, "user and password go together")
}

func (b *builder) checkPage() {
	if d := b.file.Page; b.set(&b.file.Page) {
		b.refuse(b.set(&d.Listen) && !loopback.Is(hostOf(d.Listen)) && !b.present(&d.Password) && !b.hasLogin(), &d.Listen,
			"beyond loopback anybody could read and change the farm: add password: {file: PATH}, or listen at 127.0.0.1")
	}
}

func (b *builder) checkMail() {
	if !b.set(&b.file.Mail) {
		return
	}
	d := b.file.Mail
	local := loopback.Is(hostOf(d.Server))
	or(b.marks, &d.Security, securityFor(d.Server, local), "by the server")
	b.refuse(b.given(&d.Security) && !local && (d.Security == notify.Offered || d.Security == notify.Plain), &d.Security,
		"%s would let anybody on the way read the mail and the password: use starttls or tls", d.Security)
	b.refuse(b.count(&d.User, &d.Password) == 1, &b.file.Mail, "user and password go together")
}

// securityFor is how mail servers are reached: port 465 is for TLS from the
// first byte (RFC 8314), the others for STARTTLS.
func securityFor(server string, local bool) notify.Security {
	switch {
	case strings.HasSuffix(server, ":465"):
		return notify.TLS
	case local:
		return notify.Offered
	}
	return notify.StartTLS
}

func (b *builder) checkTell() {
	first := map[string]int{} // mail addresses and webhooks → line
	for i := range b.file.Tell {
		b.checkTeller(&b.file.Tell[i], first)
	}
	b.checkPeople(first)
	b.needMail(&b.file.Rounds)
}

func (b *builder) checkTeller(d *notify.TellerSettings, first map[string]int) {
	ways := b.count(&d.Mail, &d.Push, &d.Webhook)
	b.refuse(ways != 1, d, "a recipient has one of mail, push and webhook")
	if ways == 1 {
		b.needMail(&d.Mail)
	}
	b.refuse(b.set(&d.Secret) && !b.present(&d.Webhook), &d.Secret, "a secret signs what a webhook gets; this recipient has no webhook")
	b.refuse(b.set(&d.After) && b.given(&d.About) && !slices.Contains(d.About, farm.Now.String()), &d.About,
		"with after only what is urgent now goes to this recipient, and about has no now")
	for _, y := range []*string{&d.Mail, &d.Webhook} {
		if !b.set(y) {
			continue
		}
		name := strings.ToLower(*y)
		line, twice := first[name]
		b.refuse(twice, y, "this recipient has an entry already, on line %d: put both into one", line)
		if !twice {
			first[name] = b.at(y).line
		}
	}
	for i := range d.Bins {
		b.binsLike(&d.Bins[i])
	}
	for i := range d.Places {
		b.checkPlace(&d.Places[i])
	}
}

// needMail checks that mail can go out at all, where something is to go by it.
func (b *builder) needMail(what any) {
	b.refuse(b.set(what) && !b.present(&b.file.Mail) && b.need == ForRun, what,
		`mail needs a server: add mail: {server: "mail.example.org:587", from: bins@example.org}`)
}
