package config

import (
	"path/filepath"
	"reflect"
	"time"

	"binwatchd/internal/farm"
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
}

func (b *builder) build() farm.Farm {
	b.buildSite()
	b.buildSpecies()
	b.buildFeeds()
	b.buildBins()
	b.buildProbes()
	b.paths()
	b.checkBroker()
	b.checkJournal()
	b.checkInflux()
	b.checkPage()
	b.checkMail()
	b.checkTell()
	b.checkRounds()
	b.noteSecrets()
	b.inForce()
	return b.farm
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
	b.farm.Needs = append(b.farm.Needs, farm.Need{CastingsL: n.Castings, By: by})
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
			if (kind == "a file" || kind == "a private key") && *p != "" && !filepath.IsAbs(*p) {
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
