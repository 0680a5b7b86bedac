package main

import (
	"cmp"
	"context"
	_ "embed"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"text/template"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/ingest"
	"binwatchd/internal/snippet"
)

//go:embed begin.yaml.tmpl
var beginText string

// beginning writes the parts of a first configuration.
var beginning = template.Must(template.New("begin").Funcs(template.FuncMap{"word": snippet.Word}).Parse(beginText))

func beginWork(*flag.FlagSet) work {
	wanted := func(words []string) error { return misuseIf(len(words) > 1, "wants one FILE at most") }
	return work{words: wanted, run: func(ctx context.Context, c *call) error {
		path := "binwatchd.yaml"
		if len(c.words) > 0 {
			path = c.words[0]
		} else if !missing(filepath.Dir(usualConfig)) {
			path = usualConfig
		}
		b := beginner{streams: c.streams, path: path, named: map[string]bool{}, placed: map[string]bool{}}
		if !isTerminal(c.in) {
			return b.instead()
		}
		return b.session(ctx)
	}}
}

// A beginner is a session in which a configuration is made by asking.
type beginner struct {
	*streams
	path  string
	lines <-chan string // what is typed; closed at its end

	draft   *config.Draft // nil until there is what the file begins with
	written bool
	species []farm.Species
	named   map[string]bool // bins
	placed  map[string]bool // probes that stand in one
	tells   bool            // somebody is told already
	ears    *hearing
}

// errLeft says that the questions were left.
var errLeft = errors.New("left")

// instead says what to write where nobody can be asked.
func (b *beginner) instead() error {
	if err := b.sample(b.out); err != nil {
		return err
	}
	return fmt.Errorf("this asks questions, and here is no terminal to ask in; write what is printed into %s with your own topics and bins, then try: binwatchd check --config %s", b.path, b.path)
}

// sample writes what a session might, of an invented nursery.
func (b *beginner) sample(w io.Writer) error {
	of := b.head("Hillfoot Nursery", farm.Metric, ingest.BrokerSettings{URL: likelyBroker}, "")
	text, err := b.part("head", of)
	if err != nil {
		return err
	}
	at := strings.Index(text, "\n# Each bin")
	fmt.Fprint(w, text[:at], sampleProbes, text[at:])
	text, err = b.part("bin", binSaid{Name: "bed", Volume: "160 L", Species: []string{"red"}, Aim: farm.Living, Probes: []string{"bed-t", "bed-m"}})
	fmt.Fprint(w, text)
	return err
}

const sampleProbes = `  bed-t: {topic: glass/bed/temperature, measures: temperature}
  bed-m: {topic: glass/bed/moisture, measures: moisture}
`

// part writes one part of the configuration.
func (b *beginner) part(name string, of any) (string, error) {
	var w strings.Builder
	if err := beginning.ExecuteTemplate(&w, name, of); err != nil {
		return "", fmt.Errorf("write configuration: %w", err)
	}
	return w.String(), nil
}

// likelyBroker is where a broker on the same machine is.
const likelyBroker = "tcp://127.0.0.1:1883"

// head is what a configuration begins with; secret is the file of the broker's password.
func (b *beginner) head(name string, units farm.Units, broker ingest.BrokerSettings, secret string) map[string]any {
	h := map[string]any{"Farm": name, "Units": units, "URL": broker.URL, "User": broker.User, "Secret": secret, "Journal": "journal.db", "Control": ""}
	if filepath.Dir(b.path) == filepath.Dir(usualConfig) {
		h["Journal"], h["Control"] = "/var/lib/binwatchd/journal.db", "/run/binwatchd/control.sock"
	}
	return h
}

// session asks until all is known or the person leaves; each bin is written once it is known.
func (b *beginner) session(ctx context.Context) error {
	if f, err := os.CreateTemp(filepath.Dir(b.path), ".binwatchd-*"); err != nil {
		return fmt.Errorf("nothing can be written beside %s: %w", b.path, err)
	} else {
		f.Close()
		os.Remove(f.Name())
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	b.lines = typed(ctx, b.in)
	fmt.Fprintf(b.talk, "This writes %s. What stands in brackets is taken when you press Enter.\nCtrl-C leaves at any time; a bin that was written stays, and the same command goes on from there.\n\n", b.path)
	err := b.asked(ctx)
	if b.ears != nil {
		stop()
		<-b.ears.ended
	}
	switch left := errors.Is(err, errLeft) || errors.Is(err, context.Canceled); {
	case left && b.written:
		fmt.Fprintf(b.talk, "\nLeft. %s has what was written so far; the same command goes on.\n", b.path)
		return errSaid
	case left:
		fmt.Fprintf(b.talk, "\nLeft. No configuration was written.\n")
		return errSaid
	}
	return err
}

func (b *beginner) asked(ctx context.Context) error {
	for _, step := range []func(context.Context) error{b.start, b.bins, b.tell} {
		if err := step(ctx); err != nil {
			return err
		}
	}
	if !b.written && len(b.named) == 0 {
		return errors.New("no bin was described, so nothing was written")
	}
	cfg, err := load(b.path, config.ForRun, b.streams)
	if err != nil {
		return err
	}
	if err := check(ctx, cfg, b.path, b.streams); err != nil {
		return err
	}
	run := "binwatchd run --config " + b.path
	if b.path == usualConfig {
		run = "sudo systemctl enable --now binwatchd"
	}
	fmt.Fprintf(b.talk, "\nNext:\n  %s\n  binwatchd now --config %s      shows each bin\n  binwatchd begin %s      adds what you buy next\n", run, b.path, b.path)
	if cfg.Page != nil {
		fmt.Fprintf(b.talk, "The page: http://%s/\n", cfg.Page.Listen)
	}
	return nil
}

// start reads the file that is there, or asks what a new one begins with.
func (b *beginner) start(ctx context.Context) error {
	if !missing(b.path) {
		cfg, err := load(b.path, config.ForRun, b.streams)
		if err != nil {
			return cmp.Or(notProblems(err), fmt.Errorf("%s is not valid; put that right first, or name another FILE", b.path))
		}
		var bins []string
		for _, bin := range cfg.Farm.Bins {
			bins = append(bins, bin.Name)
		}
		fmt.Fprintf(b.talk, "%s describes %s, with the bins %s.\n", b.path, cfg.Farm.Name, strings.Join(bins, ", "))
		word, err := b.choose(ctx, "Add to it, or begin a new one, which keeps it as "+filepath.Base(b.path)+".old?", "add", "new")
		if err != nil {
			return err
		}
		if word == "add" {
			return b.goOn(ctx, cfg)
		}
	}
	return b.anew(ctx)
}

// notProblems is an error that has not been told yet.
func notProblems(err error) error {
	if errors.Is(err, errSaid) {
		return nil
	}
	return err
}

func (b *beginner) goOn(ctx context.Context, cfg *config.Config) (err error) {
	if b.draft, err = config.ReadDraft(b.path); err != nil {
		return err
	}
	for _, section := range []string{"probes", "bins"} {
		if _, err := b.draft.Add(section, ""); err != nil {
			return err
		}
	}
	b.written, b.species, b.tells = true, cfg.Farm.Species, len(cfg.Tell) > 0
	for _, bin := range cfg.Farm.Bins {
		b.named[bin.Name], b.placed[bin.Ambient] = true, true
		for _, z := range bin.Zones {
			for _, p := range z.Probes {
				b.placed[p] = true
			}
		}
	}
	if len(cfg.Broker.Addresses()) == 0 {
		return errors.New("in this configuration binwatchd is the broker itself, and the daemon has its place; so probes can't be heard here: add them by hand")
	}
	sc, err := brokerOf(b.path, b.streams)
	if err != nil {
		return err
	}
	b.ears, err = hear(ctx, ear(sc), b.talk)
	return err
}

func (b *beginner) anew(ctx context.Context) error {
	b.species = husbandry.Species()
	name, err := b.ask(ctx, "What is your farm called?", "Worm farm", nil)
	if err != nil {
		return err
	}
	units, err := b.choose(ctx, "Litres and °C (metric), or gallons and °F (us)?", string(farm.Metric), string(farm.US))
	if err != nil {
		return err
	}
	broker, secret, err := b.broker(ctx)
	if err != nil {
		return err
	}
	text, err := b.part("head", b.head(name, farm.Units(units), broker, secret))
	if err != nil {
		return err
	}
	b.draft, err = config.StartDraft(b.path, []byte(text))
	return err
}

// broker asks where the broker is until one answers.
func (b *beginner) broker(ctx context.Context) (at ingest.BrokerSettings, secret string, err error) {
	likely, user, password := likelyBroker, "none", ""
	for {
		if likely, err = b.ask(ctx, "Where is the MQTT broker that your probes send to?", likely, nil); err != nil {
			return at, "", err
		}
		if user, err = b.ask(ctx, "Your user there?", user, nil); err != nil {
			return at, "", err
		}
		if user != "none" {
			if password, err = b.hidden(ctx, "Your password there"); err != nil {
				return at, "", err
			}
		}
		sc, err := brokerSaid(likely, "", "", "")
		if user != "none" {
			sc.User, sc.Password = user, password
		}
		if err == nil {
			b.ears, err = hear(ctx, ear(sc), b.talk)
		}
		if err == nil {
			fmt.Fprintf(b.talk, "It answers. Your probes are heard from now on.\n\n")
			if user != "none" {
				secret, err = keepSecret(filepath.Dir(b.path), "broker", password)
			}
			return sc.BrokerSettings, secret, err
		}
		if ctx.Err() != nil {
			return at, "", errLeft
		}
		fmt.Fprintf(b.talk, "That does not work: %v\nOn this machine one comes with: sudo apt install mosquitto\n", err)
	}
}

// tell asks who is told, writes that, and sends a test.
func (b *beginner) tell(ctx context.Context) error {
	if b.tells || !b.written {
		return nil
	}
	who, err := b.choose(ctx, "Who is told when something is wrong: by mail, by push to a phone, or nobody yet?", "nobody", "mail", "push")
	if err != nil || who == "nobody" {
		return err
	}
	said := map[string]string{}
	if who == "push" {
		if said["Push"], err = b.kept(ctx, "The address of the push service (it is a secret: who has it can write to you)", "push"); err != nil {
			return err
		}
	} else if err = b.mail(ctx, said); err != nil {
		return err
	}
	text, err := b.part("tell", said)
	if err != nil {
		return err
	}
	draft, err := b.draft.Append(text)
	if err == nil {
		err = draft.Check()
	}
	if err != nil {
		return fmt.Errorf("that would be wrong, so it is left out; %s is as it was:\n%w", b.path, err)
	}
	if err := draft.Write(); err != nil {
		return err
	}
	b.draft = draft
	test, err := b.choose(ctx, "That is written. Send a test now?", "yes", "no")
	if err != nil || test == "no" {
		return err
	}
	cfg, err := load(b.path, config.ForRun, b.streams)
	if err == nil {
		err = tellTest(ctx, &call{streams: b.streams, path: b.path, cfg: cfg})
	}
	if err != nil {
		fmt.Fprintf(b.talk, "The test did not arrive: %v\nPut %s right, then try: binwatchd tell-test --config %s\n", err, b.path, b.path)
	}
	return nil
}

func (b *beginner) mail(ctx context.Context, said map[string]string) (err error) {
	for _, q := range []struct{ key, question, fallback string }{
		{"To", "Your mail address?", "keeper@example.org"},
		{"Server", "Your mail server, with its port?", ""},
		{"User", "Your user there?", ""},
	} {
		_, domain, _ := strings.Cut(said["To"], "@")
		fallback := cmp.Or(q.fallback, said["To"])
		if q.key == "Server" {
			fallback = "smtp." + domain + ":587"
		}
		if said[q.key], err = b.ask(ctx, q.question, fallback, nil); err != nil {
			return err
		}
	}
	if said["User"] == "none" {
		said["User"] = ""
		return nil
	}
	said["Secret"], err = b.kept(ctx, "Your password there", "mail")
	return err
}
