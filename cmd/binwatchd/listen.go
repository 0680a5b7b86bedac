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
	long := fs.Duration("for", time.Minute, "hear for `DURATION`; Ctrl-C ends it earlier")
	wanted := func() error {
		return cmp.Or(
			misuseIf(*broker == "", "--broker URL is needed, such as tcp://127.0.0.1:1883"),
			misuseIf(*long <= 0, "--for wants a time to come"),
			misuseIf((*user == "") != (*password == ""), "--user and --password-file go together"),
		)
	}
	return work{flags: wanted, run: func(ctx context.Context, c *call) error {
		source, err := ear(*broker, *user, *password, *ca)
		if err != nil {
			return err
		}
		return listen(ctx, source, *long, c.streams)
	}}
}

// ear makes a source that hears everything and leaves nothing behind.
func ear(broker, user, password, ca string) (*ingest.Source, error) {
	u, err := url.Parse(broker)
	switch {
	case err != nil || u.Host == "":
		return nil, misusef("--broker wants a URL such as tcp://127.0.0.1:1883")
	case u.User != nil:
		return nil, misusef("a password in the URL is seen by everybody on this machine; use --user and --password-file")
	}
	sc := ingest.SourceConfig{
		BrokerSettings: ingest.BrokerSettings{URL: broker, User: user, ClientID: fmt.Sprintf("binwatchd-listen-%d", os.Getpid())},
		Filters:        []string{"#"}, Passing: true, Log: slog.New(slog.DiscardHandler), Now: time.Now,
	}
	if password != "" {
		if sc.Password, err = secret.InFile(password).Reveal(); err != nil {
			return nil, err
		}
	}
	if sc.TLS, err = clientTLS(&ingest.ClientTLS{CA: ca}); err != nil {
		return nil, err
	}
	return ingest.NewSource(sc), nil
}

// listen hears until the time is up and then proposes.
func listen(ctx context.Context, source *ingest.Source, long time.Duration, s *streams) error {
	ctx, stop := context.WithTimeout(ctx, long)
	defer stop()
	ended := make(chan error, 1)
	go func() { ended <- source.Run(ctx) }()
	heard := survey.New(time.Local)
	err := hearAll(source, heard, long, s)
	stop()
	for range source.Items() { // what came while it ended is not needed
	}
	if err = cmp.Or(err, <-ended); err != nil {
		return err
	}
	return propose(heard, s)
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

// propose writes what can be made of it.
func propose(heard *survey.Survey, s *streams) error {
	p := heard.Propose()
	if p.Messages == 0 {
		return errors.New("nothing was heard: does anything publish, and may this user hear it? Try longer with --for 15m")
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
