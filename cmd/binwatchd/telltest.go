package main

import (
	"context"
	"flag"
	"fmt"
	"log/slog"
	"text/tabwriter"

	"binwatchd/internal/notify"
)

func tellTestCommand() command {
	c := command{name: "tell-test", usage: "--config FILE", does: "sends a test notice to everyone and says what their servers answered"}
	c.run = func(ctx context.Context, args []string, io *streams) error {
		fs := flag.NewFlagSet(c.name, flag.ContinueOnError)
		cfg, _, err := configured(c, fs, args, noWords, io)
		if err != nil {
			return err
		}
		nc, err := notifyConfig(cfg, fs.Lookup("config").Value.String(), slog.New(slog.DiscardHandler), machineTimes())
		if err != nil {
			return err
		}
		sender, err := notify.NewSender(nc, notify.Sources{})
		if err != nil {
			return err
		}
		return printReports(io, sender.TellTest(ctx))
	}
	return c
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
			word = "not told"
			failed++
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\n", r.Teller, r.Specimen, word, r.Said)
	}
	t.Flush()
	if failed > 0 {
		return fmt.Errorf("%d of %d test notices were not accepted", failed, len(reports))
	}
	return nil
}
