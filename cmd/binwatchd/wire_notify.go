package main

import (
	"fmt"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/notify"
)

// openSender makes the sender of a configuration and puts it in force.
func (d *daemon) openSender(cfg *config.Config) error {
	sender, tellers, err := d.newSender(cfg)
	if err == nil {
		d.sending.set(sender, tellers)
	}
	return err
}

func (d *daemon) newSender(cfg *config.Config) (*notify.Sender, []notify.Teller, error) {
	nc, err := notifyConfig(cfg, d.path, d.log, d.times())
	if err != nil {
		return nil, nil, err
	}
	sender, err := notify.NewSender(nc, notify.Sources{
		Outbox: d.journal, History: d.journal, Cursors: d.journal, Look: d.look, Rounds: d.rounds, Healthy: d.healthy,
	})
	return sender, nc.Tellers, err
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
