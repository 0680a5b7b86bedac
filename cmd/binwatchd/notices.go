package main

import (
	"context"
	"fmt"
	"log/slog"
	"sync/atomic"
	"text/tabwriter"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/notify"
	"binwatchd/internal/secret"
)

// openSender makes the sender of a configuration and puts it in force.
func (d *daemon) openSender(_ context.Context, cfg *config.Config) error {
	t, err := d.newTelling(cfg)
	if err == nil {
		d.sending.set(t)
	}
	return err
}

func (d *daemon) newTelling(cfg *config.Config) (*telling, error) {
	nc, err := notifyConfig(cfg, d.path, d.log, d.times())
	if err != nil {
		return nil, err
	}
	t := &telling{tellers: nc.Tellers}
	t.inForce, t.end = context.WithCancel(context.Background())
	t.Sender, err = notify.NewSender(nc, notify.Sources{
		Outbox: d.journal, History: d.journal, Cursors: d.journal, Tokens: d.journal, Look: d.look, Rounds: d.rounds, Ahead: d.ahead, Healthy: d.healthy,
	})
	return t, err
}

// notifyConfig is for the configuration of the file at path; "" where no command
// of a letter could name it.
func notifyConfig(cfg *config.Config, path string, log *slog.Logger, times times) (notify.Config, error) {
	nc := notify.Config{Farm: cfg.Farm, File: whole(path), Log: log, Now: times.now, CertTime: times.certificates, Rounds: cfg.Rounds}
	if cfg.Page != nil {
		nc.Address = cfg.Page.Address
	}
	var o opener
	if m := cfg.Mail; m != nil {
		nc.Mail = notify.Mail{MailSettings: *m, Password: o.reveal("mail password", m.Password)}
		if m.CA != "" {
			var err error
			if nc.Mail.Roots, err = authority(m.CA); err != nil {
				o.failed = append(o.failed, fmt.Errorf("mail: %w", err))
			}
		}
	}
	nc.Tellers = tellersOf(cfg, o.reveal)
	if l := cfg.SignOfLife; l != nil {
		nc.Life = &notify.Life{LifeSettings: *l, URL: o.reveal("sign of life", l.URL)}
	}
	return nc, o.err()
}

// tellersOf names who is told: the entries of tell, then those of the people.
func tellersOf(cfg *config.Config, reveal func(string, secret.Secret) string) []notify.Teller {
	var out []notify.Teller
	for _, t := range cfg.Tell {
		out = append(out, teller(t, reveal).Within(&cfg.Farm))
	}
	for _, p := range cfg.People {
		for _, t := range p.Tell {
			if len(t.Bins)+len(t.Places) == 0 {
				t.Places = p.Places
			}
			nt := teller(t, reveal)
			nt.Who = p.Name
			out = append(out, nt.Within(&cfg.Farm))
		}
	}
	return notify.Named(out)
}

// unrevealed leaves secrets where they lie: whom a change is owed to hangs on none.
func unrevealed(string, secret.Secret) string { return "" }

func teller(t notify.TellerSettings, reveal func(string, secret.Secret) string) notify.Teller {
	nt := notify.Teller{TellerSettings: t}
	switch {
	case t.Mail != "":
		nt.Kind = notify.ByMail
	case t.Webhook != "":
		nt.Kind, nt.URL, nt.Secret = notify.ByWebhook, t.Webhook, reveal("webhook secret", t.Secret)
	default:
		nt.Kind, nt.URL = notify.ByPush, reveal("push", t.Push)
	}
	return nt
}

// healthy is what the sign of life stands for: readings can be kept.
func (d *daemon) healthy() error {
	v, ok := d.look()
	switch {
	case !ok:
		return fmt.Errorf("the loop does not answer")
	case v.Intake.Unwritten != nil:
		return fmt.Errorf("the journal has not been written since %s", v.Intake.Unwritten.Format(time.RFC3339))
	}
	return nil
}

// sending runs the sender of notices, and another one after a reload.
type sending struct{ current atomic.Pointer[telling] }

// A telling is a sender with those whom it tells.
type telling struct {
	*notify.Sender
	tellers []notify.Teller
	inForce context.Context // ends when another one is
	end     func()
}

// set puts one in force.
func (s *sending) set(t *telling) {
	if was := s.current.Swap(t); was != nil {
		was.end()
	}
}

// now is the one in force; nil before the first.
func (s *sending) now() *telling { return s.current.Load() }

// run drains the outbox until ctx ends.
func (s *sending) run(ctx context.Context) error {
	for ctx.Err() == nil {
		t := s.now()
		own, stop := context.WithCancel(ctx)
		context.AfterFunc(t.inForce, stop)
		t.Run(own)
		<-own.Done()
		stop()
	}
	return nil
}

func tellTest(ctx context.Context, c *call) error {
	nc, err := notifyConfig(c.cfg, c.path, slog.New(slog.DiscardHandler), machineTimes())
	if err != nil {
		return err
	}
	sender, err := notify.NewSender(nc, notify.Sources{})
	if err != nil {
		return err
	}
	return printReports(c.streams, sender.TellTest(ctx))
}

func printReports(io *streams, reports []notify.Report) error {
	if len(reports) == 0 {
		return fmt.Errorf("nobody is to be told: there is no tell: in the configuration")
	}
	failed := 0
	t := tabwriter.NewWriter(io.out, 0, 0, 2, ' ', 0)
	for _, r := range reports {
		word := "told"
		if !r.OK {
			word, failed = "not told", failed+1
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\n", r.Teller, r.Specimen, word, r.Said)
	}
	t.Flush()
	if failed > 0 {
		return fmt.Errorf("%d of %d test notices were not accepted", failed, len(reports))
	}
	return nil
}
