package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"binwatchd/internal/ingest"
	"binwatchd/internal/snippet"
	"binwatchd/internal/survey"
)

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
