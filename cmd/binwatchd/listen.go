package main

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"strings"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/ingest"
	"binwatchd/internal/secret"
	"binwatchd/internal/snippet"
	"binwatchd/internal/survey"
)

func listenWork(fs *flag.FlagSet) work {
	broker := fs.String("broker", "", "`URL` of the broker: tcp://127.0.0.1:1883 or tls://…")
	user := fs.String("user", "", "user `U` at the broker")
	password := fs.String("password-file", "", "file `F` that holds the password, readable by you alone")
	ca := fs.String("ca", "", "`FILE` with the certificate of the broker's own authority")
	into := fs.String("write", "", "add what is new to the configuration in `FILE`, whose broker is heard where no other is named")
	long := fs.Duration("for", time.Minute, "hear for `DURATION`; Ctrl-C ends it earlier")
	wanted := func() error {
		return cmp.Or(
			misuseIf(*broker == "" && *into == "", "--broker URL is needed, such as tcp://127.0.0.1:1883"),
			misuseIf(*long <= 0, "--for wants a time to come"),
			misuseIf((*user == "") != (*password == ""), "--user and --password-file go together"),
		)
	}
	return work{flags: wanted, run: func(ctx context.Context, c *call) error {
		var draft *config.Draft
		if *into != "" {
			var err error
			if draft, err = config.ReadDraft(*into); err != nil {
				return err
			}
		}
		sc, err := brokerSaid(*broker, *user, *password, *ca)
		if *broker == "" {
			sc, err = brokerOf(*into, c.streams)
		}
		if err != nil {
			return err
		}
		heard := survey.New(time.Local)
		if draft != nil {
			heard.Beside(draft.Knows, draft.Names())
		}
		if err := listen(ctx, ear(sc), heard, *long, c.streams); err != nil {
			return err
		}
		return propose(heard, draft, c.streams)
	}}
}

// brokerSaid is the broker that the command line names.
func brokerSaid(broker, user, password, ca string) (sc ingest.SourceConfig, err error) {
	u, err := url.Parse(broker)
	switch {
	case broker == "":
		return sc, nil
	case err != nil || u.Host == "":
		return sc, misusef("--broker wants a URL such as tcp://127.0.0.1:1883")
	case u.User != nil:
		return sc, misusef("a password in the URL is seen by everybody on this machine; use --user and --password-file")
	}
	sc.BrokerSettings = ingest.BrokerSettings{URL: broker, User: user}
	if password != "" {
		if sc.Password, err = secret.InFile(password).Reveal(); err != nil {
			return sc, err
		}
	}
	sc.TLS, err = clientTLS(&ingest.ClientTLS{CA: ca})
	return sc, err
}

// brokerOf is the broker of a configuration.
func brokerOf(path string, s *streams) (sc ingest.SourceConfig, err error) {
	cfg, err := config.Load(path, config.ForRehearsal)
	if err != nil {
		return sc, fmt.Errorf("%s is not valid, so its broker is not known; name one with --broker:\n%w", path, err)
	}
	b := cfg.Broker
	if len(b.Addresses()) == 0 {
		return sc, errors.New("in this configuration binwatchd is the broker itself, and the daemon has its place; what it hears is in the log: name another broker with --broker")
	}
	sc.BrokerSettings = ingest.BrokerSettings{URL: b.URL, URLs: b.URLs, User: b.User}
	if !b.Password.IsZero() {
		if sc.Password, err = b.Password.Reveal(); err != nil {
			return sc, fmt.Errorf("broker password: %w", err)
		}
	}
	sc.TLS, err = clientTLS(b.TLS)
	return sc, err
}

// ear makes a source that hears everything and leaves nothing behind.
func ear(sc ingest.SourceConfig) *ingest.Source {
	sc.ClientID = fmt.Sprintf("binwatchd-listen-%d", os.Getpid())
	sc.Filters, sc.Passing, sc.Log, sc.Now = []string{"#"}, true, slog.New(slog.DiscardHandler), time.Now
	return ingest.NewSource(sc)
}

// listen hears until the time is up.
func listen(ctx context.Context, source *ingest.Source, heard *survey.Survey, long time.Duration, s *streams) error {
	ctx, stop := context.WithTimeout(ctx, long)
	defer stop()
	ended := make(chan error, 1)
	go func() { ended <- source.Run(ctx) }()
	err := hearAll(source, heard, long, s)
	stop()
	for range source.Items() { // what came while it ended is not needed
	}
	return cmp.Or(err, <-ended)
}

// hearAll takes items until there are no more. Trouble before the broker was
// ever reached ends it; later on the source tries again.
func hearAll(source *ingest.Source, heard *survey.Survey, long time.Duration, s *streams) error {
	reached := false
	for item := range source.Items() {
		switch l, d := item.Link, item.Delivery; {
		case d != nil:
			if fresh, says := heard.Hear(d); fresh { // the first of its topic
				fmt.Fprintf(s.talk, "%s %s\n", strings.TrimSpace(snippet.Comment(d.Topic)), says)
			}
			d.Ack()
		case l.Up && l.Trouble != "":
			return errors.New(l.Trouble)
		case l.Up:
			reached = true
			fmt.Fprintf(s.talk, "hearing everything for %s; Ctrl-C ends it earlier\n", long)
		case !reached:
			return errors.New(l.Trouble)
		default:
			fmt.Fprintf(s.talk, "lost: %s; trying again\n", l.Trouble)
		}
	}
	if !reached {
		return errors.New("the broker did not answer")
	}
	return nil
}

// propose writes what can be made of it, into the draft of a configuration where there is one.
func propose(heard *survey.Survey, draft *config.Draft, s *streams) error {
	p := heard.Propose()
	switch {
	case p.Messages == 0:
		return errors.New("nothing was heard: does anything publish, and may this user hear it? Try longer with --for 15m")
	case draft != nil:
		return merge(p, draft, s)
	}
	if err := p.WriteYAML(s.out); err != nil {
		return err
	}
	fmt.Fprintf(s.talk, "%d messages on %d topics, %d entries proposed\n", p.Messages, p.Topics, len(p.Probes))
	if len(p.Probes) == 0 {
		return errors.New("none of it looks like a probe")
	}
	return nil
}

// merge adds what is proposed to a configuration and gives the lines by which its bins name it.
func merge(p survey.Proposal, draft *config.Draft, s *streams) error {
	fmt.Fprintf(s.talk, "%d messages on %d topics; %d values are in %s already\n", p.Messages, p.Topics, p.Known, draft.Path)
	if len(p.Probes) == 0 {
		fmt.Fprintf(s.talk, "nothing new looks like a probe; the file is as it was\n")
		return nil
	}
	var entries strings.Builder
	if err := p.WriteEntries(&entries); err != nil {
		return err
	}
	draft, err := draft.Add("probes", entries.String())
	if err != nil {
		return err
	}
	if err := draft.Check(); err != nil {
		return fmt.Errorf("nothing is written, for with what was heard this would be wrong; see binwatchd listen without --write:\n%w", err)
	}
	if err := draft.Write(); err != nil {
		return err
	}
	fmt.Fprintf(s.talk, "%d entries are added under probes: in %s; nothing else is changed. Look at each guess.\nNow give each of these lines to the zone where its device sits, then try binwatchd check --config %s, and reload:\n", len(p.Probes), draft.Path, draft.Path)
	for _, line := range p.Places() {
		fmt.Fprintln(s.out, line)
	}
	return nil
}
