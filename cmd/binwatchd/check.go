package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"slices"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/control"
	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
	"binwatchd/internal/ingest"
	"binwatchd/internal/notify"
	"binwatchd/internal/page"
	"binwatchd/internal/secret"
)

func checkWork(fs *flag.FlagSet) work {
	path := fs.String("config", "", "`FILE` to check")
	show := fs.Bool("show", false, "print every value in force, secrets as their source only")
	payload := fs.Bool("payload", false, "show what a message on TOPIC with TEXT would become")
	schema := fs.Bool("schema", false, "print a JSON Schema of the configuration, for editors")
	wanted := func(words []string) error {
		switch {
		case *schema:
			return nil
		case !*payload:
			return noWords(words)
		}
		return misuseIf(len(words) != 2, "--payload wants a TOPIC and a TEXT")
	}
	return work{words: wanted, run: func(ctx context.Context, c *call) error {
		if *schema {
			return printSchema(c.out)
		}
		cfg, err := forRun(*path, c.streams)
		switch {
		case err != nil:
			return err
		case *payload:
			fmt.Fprintln(c.out, ingest.NewDecoder(&cfg.Farm, cfg.Broker.Prefix).Explain(c.words[0], []byte(c.words[1])))
			return nil
		case *show:
			return cfg.Show(c.out)
		}
		return check(ctx, cfg, *path, c.streams)
	}}
}

func printSchema(w io.Writer) error {
	text, err := config.Schema()
	if err != nil {
		return err
	}
	if _, err := w.Write(text); err != nil {
		return fmt.Errorf("write the schema: %w", err)
	}
	return nil
}

// check says why run would not start with a configuration that reads right.
func check(ctx context.Context, cfg *config.Config, path string, s *streams) error {
	reasons := tried(cfg)
	if err := noteUpdate(ctx, cfg, changes, s.talk); err != nil {
		reasons = append(reasons, cfg.Wrong("journal.path", err))
	}
	for _, r := range append(foldersNotHere(cfg), reasons...) {
		fmt.Fprintln(s.talk, "note:", r)
	}
	if bins := withoutMoisture(cfg.Farm.InUse(time.Now())); len(bins) > 0 {
		fmt.Fprintf(s.talk, "note: no probe measures the moisture of %s, so nothing is said of too dry or too wet there\n", farm.SayNames(bins))
	}
	if cfg.Barred+len(reasons) > 0 {
		return errors.New(path + " says nothing wrong, but binwatchd run would not start: see the notes")
	}
	fmt.Fprintf(s.out, "%s is valid: %s, %s, %s\n", path, cfg.Farm.Name, farm.SayCount(len(cfg.Farm.Bins), "bin"), farm.SayCount(len(cfg.Farm.Probes), "probe"))
	return nil
}

// withoutMoisture names the bins of which no probe measures the moisture; none on a farm where none
// measures any.
func withoutMoisture(f *farm.Farm) (bins []string) {
	measures := func(id string) bool {
		p, _ := f.ProbeByID(id)
		return p.Measures == farm.Moisture
	}
	for _, b := range f.Bins {
		if !slices.ContainsFunc(b.Zones, func(z farm.Zone) bool { return slices.ContainsFunc(z.Probes, measures) }) {
			bins = append(bins, b.Name)
		}
	}
	if len(bins) == len(f.Bins) {
		return nil
	}
	return bins
}

// A trial puts a configuration to use as run does, without opening or asking
// anything, and collects why run would not start.
type trial struct {
	cfg     *config.Config
	reasons []config.Problem
}

// tried gives every reason for which run would refuse a configuration that reads
// right. Secrets that are no good are among the configuration's own notes; what
// lies where it can't be reached from here is left for the daemon to find.
func tried(cfg *config.Config) []config.Problem {
	t := &trial{cfg: cfg}
	_, err := clientTLS(cfg.Broker.TLS)
	t.note("broker.tls", err)
	t.note("journal.path", plainJournal(cfg.Journal.Path))
	t.note("control", control.Check(cfg.Control))
	if i := cfg.Influx; i != nil {
		_, err = clientTLS(&ingest.ClientTLS{CA: i.CA, Cert: i.Cert, Key: i.Key})
		t.note("influx", err)
		if ic, err := influxConfig(cfg, slog.New(slog.DiscardHandler), machineTimes()); err == nil { // else its secrets are noted
			_, err = influx.New(ic, nil, nil, nil)
			t.note("influx", err)
		}
	}
	if cfg.Page != nil {
		t.page(cfg.Page)
	}
	t.people()
	t.notices()
	return t.reasons
}

// foldersNotHere lists the folders that run would not find. On the machine that the
// file is meant for they may be there, so this refuses nothing.
func foldersNotHere(cfg *config.Config) []config.Problem {
	var notes []config.Problem
	for _, f := range []struct{ key, path string }{{"journal.path", cfg.Journal.Path}, {"control", cfg.Control}} {
		dir := filepath.Dir(f.path)
		if f.path != "" && missing(dir) {
			notes = append(notes, cfg.Wrong(f.key, fmt.Errorf("there is no folder %s here; binwatchd run does not make it", dir)))
		}
	}
	return notes
}

func (t *trial) note(key string, err error) {
	if err != nil && !secret.Unreachable(err) {
		t.reasons = append(t.reasons, t.cfg.Wrong(key, err))
	}
}

func (t *trial) page(p *page.Settings) {
	t.note("page", page.Check(p.Listen, !p.Password.IsZero() || slices.ContainsFunc(t.cfg.People, func(p config.Person) bool { return !p.Password.IsZero() })))
	if password, err := revealed(p.Password); err == nil {
		t.note("page.password", page.CheckPassword(password))
	}
	if key, err := revealed(p.Calendar); err == nil && key != "" {
		t.note("page.calendar", page.CheckKey(key))
	}
	if p.TLS != nil {
		_, err := keyPair(p.TLS.Cert, p.TLS.Key)
		t.note("page.tls", err)
	}
}

// people tries what each of them comes in by.
func (t *trial) people() {
	for i, p := range t.cfg.People {
		if password, err := revealed(p.Password); err == nil {
			t.note(fmt.Sprintf("people[%d].password", i), page.CheckPassword(password))
		}
		if token, err := revealed(p.Token); err == nil && token != "" {
			t.note(fmt.Sprintf("people[%d].token", i), page.CheckKey(token))
		}
	}
}

// notices tries each recipient by itself, so that each is told of in its place.
func (t *trial) notices() {
	nc := notify.Config{Farm: t.cfg.Farm, Log: slog.New(slog.DiscardHandler), Now: time.Now}
	if m := t.cfg.Mail; m != nil {
		nc.Mail = notify.Mail{MailSettings: *m}
		if m.CA != "" {
			_, err := authority(m.CA)
			t.note("mail.ca", err)
		}
	}
	try := func(at string, tell []notify.TellerSettings) {
		for i, to := range tell {
			var o opener
			if nt := teller(to, o.reveal); o.err() == nil {
				t.note(fmt.Sprintf("%stell[%d]", at, i), notify.Check(nc, nt))
			}
		}
	}
	try("", t.cfg.Tell)
	for i, p := range t.cfg.People {
		try(fmt.Sprintf("people[%d].", i), p.Tell)
	}
	if l := t.cfg.SignOfLife; l != nil {
		if url, err := revealed(l.URL); err == nil {
			nc.Life = &notify.Life{LifeSettings: *l, URL: url}
			_, err = notify.NewSender(nc, notify.Sources{})
			t.note("sign_of_life.url", err)
		}
	}
}
