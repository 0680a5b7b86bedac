package config

import (
	"path/filepath"
	"time"

	"binwatchd/internal/farm"
)

// A builder turns a document into a Config. It checks what only shows when
// values are looked at together, and fills defaults that depend on others into
// the document too, so that Show prints them. What it builds is used only
// when no problem was found.
type builder struct {
	*reader
	doc     *document
	folder  string
	now     time.Time
	machine *time.Location
	notes   []Problem
	barred  int // how many of them keep the daemon from starting
	farm    farm.Farm
	probes  map[string]farm.Probe // by id, templates already filled in
}

func (b *builder) build() *Config {
	b.buildSite()
	b.buildSpecies()
	b.buildFeeds()
	b.buildBins()
	b.buildProbes()
	c := &Config{Farm: b.farm}
	b.buildBroker(c)
	b.buildJournal(c)
	b.buildInflux(c)
	b.buildPage(c)
	b.buildMail(c)
	b.buildLife(c)
	b.buildTell(c)
	b.buildRounds(c)
	b.noteSecrets()
	return c
}

func (b *builder) buildSite() {
	d := b.doc
	d.timezone.or(b.machine.String(), "the machine's")
	b.farm.Name, b.farm.Units, b.farm.Location = d.farm.v, d.units.v, b.machine
	if d.timezone.given() {
		if loc, err := loadZone(d.timezone.v); err == nil {
			b.farm.Location = loc
		}
	}
	for i := range d.need.v {
		b.buildNeed(&d.need.v[i].v)
	}
}

// buildNeed gives a need its year.
func (b *builder) buildNeed(n *needDoc) {
	if !n.by.set {
		return // its problem is known
	}
	by := n.by.v.from(b.now, b.farm.Location)
	if by.AddDate(0, 0, 1).Before(b.now) {
		b.note(n.by.at, "this day is over")
	}
	n.by.v = date{by.Year(), by.Month(), by.Day()}
	b.farm.Needs = append(b.farm.Needs, farm.Need{CastingsL: n.castings.v, By: by})
}

// note records what is worth knowing but no reason to refuse the file.
func (b *builder) note(at place, format string, args ...any) {
	r := reader{file: b.file}
	r.problem(at, format, args...)
	b.notes = append(b.notes, r.problems...)
}

// path makes a file's name absolute, in the document too.
func (b *builder) path(x *val[string]) string {
	if x.set && !filepath.IsAbs(x.v) {
		x.v = filepath.Join(b.folder, x.v)
	}
	return x.v
}

// secretAt makes the file of a secret absolute, in the document too.
func (b *builder) secretAt(x *val[Secret]) Secret {
	if x.v.from == fromFile && !filepath.IsAbs(x.v.name) {
		x.v.name = filepath.Join(b.folder, x.v.name)
	}
	return x.v
}

// noteSecrets tries each secret: on the desk where a file is written they
// seldom lie, on the machine that runs it they must.
func (b *builder) noteSecrets() {
	if b.need == ForRehearsal || len(b.problems) > 0 {
		return
	}
	for _, s := range b.doc.secrets() {
		_, err := s.v.Reveal()
		b.noteSecret(s.at, err)
	}
	for _, k := range b.doc.keys() {
		_, err := ReadKey(k.v)
		b.noteSecret(k.at, err)
	}
}

// noteSecret notes what is wrong with a secret. One that is there and no good
// is so on any desk.
func (b *builder) noteSecret(at place, err error) {
	if err == nil {
		return
	}
	b.note(at, "%v", err)
	if !Unreachable(err) {
		b.barred++
	}
}
