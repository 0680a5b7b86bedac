package main

import (
	"bufio"
	"cmp"
	"context"
	_ "embed"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"text/template"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/ingest"
	"binwatchd/internal/quantity"
	"binwatchd/internal/snippet"
	"binwatchd/internal/survey"
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
	if err := check(cfg, b.path, b.streams); err != nil {
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

// bins asks for bins until there are no more.
func (b *beginner) bins(ctx context.Context) error {
	for {
		question, fallback := "The name of a bin?", "bed"
		if len(b.named) > 0 {
			question, fallback = "The name of another bin?", "no more"
		}
		name, err := b.ask(ctx, question, fallback, func(s string) error {
			switch {
			case b.named[s]:
				return fmt.Errorf("%s is there already", s)
			case s == fallback:
				return nil
			}
			return config.CheckName(s)
		})
		if err != nil || name == "no more" {
			return err
		}
		if err := b.bin(ctx, name); err != nil {
			return err
		}
	}
}

// A binSaid is what was answered of a bin.
type binSaid struct {
	Name, Volume string
	Species      []string
	Aim          farm.Aim
	Probes       []string
}

func (b *beginner) bin(ctx context.Context, name string) error {
	said := binSaid{Name: name}
	aim, err := b.choose(ctx, "Do worms work in it (living), does it dry to be sifted (sifting), or are sifted castings kept in it (keeping)?", string(farm.Living), string(farm.Sifting), string(farm.Keeping))
	if err != nil {
		return err
	}
	var known []string
	for _, s := range b.species {
		known = append(known, s.ID)
	}
	if said.Aim = farm.Aim(aim); said.Aim == farm.Living {
		if _, err := b.ask(ctx, "Which worms: "+strings.Join(known, ", ")+"? Several with commas.", known[0], func(s string) error {
			said.Species = strings.FieldsFunc(s, func(r rune) bool { return r == ',' || r == ' ' })
			for _, one := range said.Species {
				if !slices.Contains(known, one) {
					return fmt.Errorf("%q is none of them", one)
				}
			}
			return nil
		}); err != nil {
			return err
		}
	}
	if said.Volume, err = b.ask(ctx, "How much is in it, such as 160 L or 40 gal?", "not known", func(s string) error {
		if s == "not known" {
			return nil
		}
		_, err := quantity.ParseVolume(s)
		return err
	}); err != nil {
		return err
	}
	said.Volume = strings.TrimSuffix(said.Volume, "not known")
	found, err := b.hands(ctx, name)
	if err != nil {
		return err
	}
	if len(found) == 0 {
		fmt.Fprintf(b.talk, "%s is left out for now: a bin needs a probe.\n\n", name)
		return nil
	}
	return b.write(said, found)
}

// write adds a bin with its probes to the file.
func (b *beginner) write(said binSaid, found []survey.Probe) error {
	called := map[string]string{}
	for _, p := range found {
		called[p.ID] = cmp.Or(b.draft.Name(p.Topic, p.Value), p.ID)
		if p.Measures != farm.Battery {
			said.Probes = append(said.Probes, called[p.ID])
		}
	}
	var fresh survey.Proposal
	for _, p := range found {
		if b.draft.Knows(p.Topic, p.Value) {
			continue
		}
		for i, id := range p.Of {
			p.Of[i] = cmp.Or(called[id], id)
		}
		p.Unhurried()
		fresh.Probes = append(fresh.Probes, p)
	}
	draft := b.draft
	var err error
	if len(fresh.Probes) > 0 {
		var entries strings.Builder
		if err = fresh.WriteEntries(&entries); err == nil {
			draft, err = draft.Add("probes", strings.TrimLeft(entries.String(), "\n"))
		}
		if err != nil {
			return err
		}
	}
	text, err := b.part("bin", said)
	if err != nil {
		return err
	}
	if draft, err = draft.Add("bins", text); err != nil {
		return err
	}
	if err := draft.Check(); err != nil {
		fmt.Fprintf(b.talk, "%s is left out, for it would be wrong: %v\n\n", said.Name, err)
		return nil
	}
	if err := draft.Write(); err != nil {
		return err
	}
	b.draft, b.written, b.named[said.Name] = draft, true, true
	for _, p := range said.Probes {
		b.placed[p] = true
	}
	b.ears.use(func(heard *survey.Survey) { heard.Beside(nil, draft.Names()) })
	fmt.Fprintf(b.talk, "%s is written, with %s.\n\n", said.Name, strings.Join(said.Probes, ", "))
	return nil
}

// hands finds the probes of a bin, one device after another.
func (b *beginner) hands(ctx context.Context, bin string) (found []survey.Probe, err error) {
	for {
		device, err := b.hand(ctx, bin, found)
		if err != nil {
			return nil, err
		}
		found = append(found, device...)
		if len(device) == 0 {
			return found, nil
		}
		another, err := b.choose(ctx, "Is there another probe in "+bin+"?", "no", "yes")
		if err != nil || another == "no" {
			return found, err
		}
	}
}

// hand finds one device by the trick of the hand; none, where the person skips it.
func (b *beginner) hand(ctx context.Context, bin string, taken []survey.Probe) ([]survey.Probe, error) {
	free := func(all []survey.Motion) []survey.Motion {
		return slices.DeleteFunc(all, func(m survey.Motion) bool {
			return b.placed[cmp.Or(b.draft.Name(m.Probe.Topic, m.Probe.Value), m.Probe.ID)] ||
				slices.ContainsFunc(taken, func(p survey.Probe) bool { return p.ID == m.Probe.ID })
		})
	}
	for {
		word, err := b.choose(ctx, "Which probe is in "+bin+"? Press Enter, then hold it in your warm hand for a minute, or dip its end in a glass of water. list names what is heard; skip leaves the bin out.", "ready", "list", "skip")
		if err != nil || word == "skip" {
			return nil, err
		}
		var seen []survey.Motion
		if word == "list" {
			b.ears.use(func(heard *survey.Survey) { seen = free(heard.Standing()) })
		} else {
			b.ears.watch(free)
			_, err := b.ask(ctx, "What moves is shown here; a probe that sends every ten minutes takes as long. Press Enter when one has moved, or to give up.", "done", nil)
			seen = free(b.ears.moved())
			if err != nil {
				return nil, err
			}
		}
		i, err := b.which(ctx, bin, seen, word == "list")
		if err != nil {
			return nil, err
		}
		if i >= 0 {
			return append([]survey.Probe{seen[i].Probe}, seen[i].Beside...), nil
		}
	}
}

// which has the person say which of those seen is meant; -1: none.
func (b *beginner) which(ctx context.Context, bin string, seen []survey.Motion, listed bool) (int, error) {
	for i, m := range seen {
		fmt.Fprintf(b.talk, "  %d  %s\n", i+1, describe(m, listed))
	}
	switch {
	case len(seen) == 0 && listed:
		fmt.Fprintf(b.talk, "No probe without a place is heard so far. Has it power, and is it in reach? Some send every ten minutes only.\n")
		return -1, nil
	case len(seen) == 0:
		fmt.Fprintf(b.talk, "Nothing moved. Has the probe power, and has it sent twice? Hold its metal end, not its cable; or try water.\n")
		return -1, nil
	case len(seen) == 1 && !listed:
		word, err := b.choose(ctx, "Is this the one in "+bin+"?", "yes", "no")
		if err != nil || word == "no" {
			return -1, err
		}
		return 0, nil
	case !listed:
		fmt.Fprintf(b.talk, "More than one moved; perhaps one is cooling down again, or lies in the sun. Put all down for a while and try again, or say which it is.\n")
	}
	pick := -1
	_, err := b.ask(ctx, "Which number?", "none", func(s string) error {
		n, err := strconv.Atoi(s)
		if s != "none" && (err != nil || n < 1 || n > len(seen)) {
			return fmt.Errorf("a number from 1 to %d, or none", len(seen))
		}
		pick = n - 1
		return nil
	})
	return pick, err
}

func describe(m survey.Motion, listed bool) string {
	where := snippet.Comment(strings.TrimSpace(m.Probe.Topic + " " + m.Probe.Value))
	if listed {
		return fmt.Sprintf("%s (%s): %s", m.Probe.ID, where, m.Probe.Heard())
	}
	return fmt.Sprintf("%s (%s) went from %s to %s %s", m.Probe.ID, where, snippet.Number(m.From), snippet.Number(m.To), m.Probe.Unit)
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

// ask puts a question until the answer will do.
func (b *beginner) ask(ctx context.Context, question, fallback string, will func(string) error) (string, error) {
	for {
		fmt.Fprintf(b.talk, "%s [%s] ", question, fallback)
		line, err := b.line(ctx)
		if err != nil {
			return "", err
		}
		line = cmp.Or(line, fallback)
		if will == nil {
			return line, nil
		}
		if err = will(line); err == nil {
			return line, nil
		}
		fmt.Fprintf(b.talk, "%s.\n", strings.TrimSuffix(err.Error(), "."))
	}
}

// choose has one of some words chosen, the first when nothing is typed; a beginning will do.
func (b *beginner) choose(ctx context.Context, question string, words ...string) (word string, err error) {
	_, err = b.ask(ctx, question+" "+strings.Join(words, "/"), words[0], func(s string) error {
		i := slices.IndexFunc(words, func(w string) bool { return strings.HasPrefix(w, strings.ToLower(s)) })
		if i < 0 {
			return fmt.Errorf("one of %s, please", strings.Join(words, ", "))
		}
		word = words[i]
		return nil
	})
	return word, err
}

// line is what is typed next.
func (b *beginner) line(ctx context.Context) (string, error) {
	select {
	case <-ctx.Done():
		return "", errLeft
	case line, ok := <-b.lines:
		if !ok {
			return "", errLeft
		}
		return strings.TrimSpace(line), nil
	}
}

// typed hands over lines until their end.
func typed(ctx context.Context, from io.Reader) <-chan string {
	lines := make(chan string)
	go func() {
		defer close(lines)
		for s := bufio.NewScanner(from); s.Scan(); {
			select {
			case lines <- s.Text():
			case <-ctx.Done():
				return
			}
		}
	}()
	return lines
}

// hidden asks for a secret without showing what is typed.
func (b *beginner) hidden(ctx context.Context, question string) (secret string, err error) {
	for secret == "" && err == nil {
		fmt.Fprintf(b.talk, "%s? It is not shown. ", question)
		show := hideTyping(b.in)
		secret, err = b.line(ctx)
		show()
		fmt.Fprintln(b.talk)
	}
	return secret, err
}

// kept asks for a secret and gives the file beside the configuration in which it is kept.
func (b *beginner) kept(ctx context.Context, question, name string) (file string, err error) {
	secret, err := b.hidden(ctx, question)
	if err != nil {
		return "", err
	}
	return keepSecret(filepath.Dir(b.path), name, secret)
}

// hearing is a broker that is heard while questions are asked.
type hearing struct {
	ended chan struct{}
	talk  io.Writer
	lock  sync.Mutex // of all below
	heard *survey.Survey
	free  func([]survey.Motion) []survey.Motion // while what moves is shown
	shown map[string]bool
}

// hear reaches a broker and hears it until ctx ends; an error, where it does not answer.
func hear(ctx context.Context, source *ingest.Source, talk io.Writer) (*hearing, error) {
	ctx, stop := context.WithCancel(ctx)
	go source.Run(ctx) // it can't have run before, and has no other error
	first, ok := <-source.Items()
	if link := first.Link; !ok || first.Delivery != nil || !link.Up || link.Trouble != "" {
		stop()
		for range source.Items() { // until it has ended
		}
		return nil, errors.New(cmp.Or(link.Trouble, "the broker did not answer"))
	}
	h := &hearing{ended: make(chan struct{}), talk: talk, heard: survey.New(time.Local)}
	h.heard.Apart()
	go func() {
		defer close(h.ended)
		defer stop()
		for item := range source.Items() {
			if d := item.Delivery; d != nil {
				h.use(func(heard *survey.Survey) { heard.Hear(d); h.show() })
				d.Ack()
			} else if item.Link.Trouble != "" {
				fmt.Fprintf(talk, "\nThe broker is lost: %s; trying again.\n", item.Link.Trouble)
			}
		}
	}()
	return h, nil
}

// use does something with what was heard, while nothing is heard.
func (h *hearing) use(do func(*survey.Survey)) {
	h.lock.Lock()
	defer h.lock.Unlock()
	do(h.heard)
}

// watch begins to show what moves, of what is free.
func (h *hearing) watch(free func([]survey.Motion) []survey.Motion) {
	h.use(func(heard *survey.Survey) { heard.Hold(); h.free, h.shown = free, map[string]bool{} })
}

// moved ends watch and gives what has moved.
func (h *hearing) moved() (all []survey.Motion) {
	h.use(func(heard *survey.Survey) { all, h.free = heard.Moved(), nil })
	return all
}

// show writes what has moved and was not shown before.
func (h *hearing) show() {
	if h.free == nil {
		return
	}
	for _, m := range h.free(h.heard.Moved()) {
		if !h.shown[m.Probe.ID] {
			h.shown[m.Probe.ID] = true
			fmt.Fprintf(h.talk, "\n  moved: %s", describe(m, false))
		}
	}
}
