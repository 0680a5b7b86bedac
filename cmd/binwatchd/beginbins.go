package main

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
	"binwatchd/internal/survey"
)

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
