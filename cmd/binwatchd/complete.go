package main

import (
	"cmp"
	"context"
	"embed"
	"flag"
	"fmt"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/dashboard"
	"binwatchd/internal/farm"
)

// A completed shell can be told what may follow on a command line, by a script of its own.
type completed struct {
	name, script string
	write        func(offer) string // as it wants to read one
}

var shells = []completed{
	{"bash", "completions/binwatchd.bash", func(o offer) string { return o.word }},
	{"zsh", "completions/_binwatchd", func(o offer) string { return strings.ReplaceAll(o.word, ":", `\:`) + ":" + o.about }},
	{"fish", "completions/binwatchd.fish", func(o offer) string { return o.word + "\t" + o.about }},
}

//go:embed completions/*
var completions embed.FS

// usualConfig is where the package puts the configuration; completion looks there where
// the command line names none yet.
const usualConfig = "/etc/binwatchd/binwatchd.yaml"

// An offer is a word that may follow, and what it is.
type offer struct{ word, about string }

// completeWork prints a shell's script; the scripts ask for offers by
// complete SHELL -- WORD..., the last of which is being typed.
func completeWork(*flag.FlagSet) work {
	which := -1
	wanted := func(words []string) error {
		which = slices.IndexFunc(shells, func(s completed) bool { return len(words) > 0 && s.name == words[0] })
		return misuseIf(which < 0, "wants a shell: bash, zsh or fish")
	}
	return work{words: wanted, run: func(ctx context.Context, c *call) error {
		s := shells[which]
		if len(c.words) == 1 {
			text, err := completions.ReadFile(s.script)
			c.out.Write(text)
			return err
		}
		for _, o := range offers(ctx, c.words[1:]) {
			fmt.Fprintln(c.out, s.write(o))
		}
		return nil
	}}
}

// offers are the words that may stand where the last of words is being typed. None
// leaves the shell to offer files.
func offers(ctx context.Context, words []string) []offer {
	before, typed := words[:len(words)-1], words[len(words)-1]
	all := possible(ctx, before, strings.HasPrefix(typed, "-"))
	return slices.DeleteFunc(all, func(o offer) bool { return !strings.HasPrefix(o.word, typed) })
}

func possible(ctx context.Context, before []string, flags bool) []offer {
	if len(before) == 0 || len(before) == 1 && before[0] == "help" {
		return commandOffers()
	}
	c, ok := commandNamed(before[0])
	if !ok {
		return nil
	}
	fs := flag.NewFlagSet(c.name, flag.ContinueOnError)
	c.flags(fs)
	line := readLine(fs, before[1:])
	offer := wordOffers[c.name]
	switch {
	case line.open != nil && slices.Contains([]string{byHelp, forHelp}, line.open.Usage):
		return plain(line.loaded().Farm.Names())
	case line.open != nil:
		return choices(line.open)
	case flags:
		return flagOffers(fs)
	case offer != nil:
		return offer(ctx, line.words, line.loaded())
	}
	return nil
}

// loaded is the configuration that the line names; an empty one where it can't be read.
func (l typedLine) loaded() *config.Config {
	cfg, err := config.Load(cmp.Or(l.config, usualConfig), config.ForRehearsal)
	if err != nil {
		return &config.Config{}
	}
	return cfg
}

// A typedLine is what was typed after a command so far.
type typedLine struct {
	words  []string
	config string
	open   *flag.Flag // the flag whose value is being typed
}

func readLine(fs *flag.FlagSet, typed []string) (l typedLine) {
	for _, w := range typed {
		name, value, given := strings.Cut(strings.TrimLeft(w, "-"), "=")
		f := fs.Lookup(name)
		switch {
		case l.open != nil:
			value, f, given, l.open = w, l.open, true, nil
		case !strings.HasPrefix(w, "-"):
			l.words = append(l.words, w)
			continue
		case f == nil:
			continue
		}
		b, is := f.Value.(interface{ IsBoolFlag() bool })
		if !given && !(is && b.IsBoolFlag()) {
			l.open = f
		}
		if f.Name == "config" && given {
			l.config = value
		}
	}
	return l
}

func commandOffers() []offer {
	all := []offer{{"help", "lists the commands, or tells of one"}}
	for _, c := range commands() {
		all = append(all, offer{c.name, c.does})
	}
	return all
}

func flagOffers(fs *flag.FlagSet) (all []offer) {
	fs.VisitAll(func(f *flag.Flag) {
		_, about := flag.UnquoteUsage(f)
		all = append(all, offer{"--" + f.Name, about})
	})
	return all
}

// choices are the values of a flag that has a few, as its usage names them: text|json.
func choices(f *flag.Flag) (all []offer) {
	if named, _ := flag.UnquoteUsage(f); strings.Contains(named, "|") {
		for word := range strings.SplitSeq(named, "|") {
			all = append(all, offer{word: word})
		}
	}
	return all
}

// wordOffers are what may follow the words of a command, by the configuration's farm.
var wordOffers = map[string]func(ctx context.Context, words []string, cfg *config.Config) []offer{
	"jot": func(_ context.Context, words []string, cfg *config.Config) []offer {
		return jotOffers(words, &cfg.Farm)
	},
	"hush": func(_ context.Context, words []string, cfg *config.Config) []offer {
		return hushOffers(words, &cfg.Farm)
	},
	"calibrate": func(_ context.Context, words []string, cfg *config.Config) []offer {
		return probeOffers(words, &cfg.Farm)
	},
	"now":       placeOffers,
	"rounds":    placeOffers,
	"seen":      seenOffers,
	"take":      seenOffers,
	"dashboard": func(context.Context, []string, *config.Config) []offer { return plain(dashboard.Kinds) },
	"complete":  func(context.Context, []string, *config.Config) []offer { return plain([]string{"bash", "zsh", "fish"}) },
}

func plain[T ~string](words []T) (all []offer) {
	for _, w := range words {
		all = append(all, offer{word: string(w)})
	}
	return all
}

// jotOffers follow BIN[/ZONE] WHAT [AMOUNT] [of KIND] [to BIN].
func jotOffers(words []string, f *farm.Farm) []offer {
	deed := slices.IndexFunc(words, func(w string) bool { return slices.Contains(farm.JotKinds, farm.JotKind(w)) })
	switch last := len(words) - 1; {
	case len(words) == 0:
		return places(f, true)
	case deed < 1:
		return plain(slices.DeleteFunc(slices.Clone(farm.JotKinds), func(k farm.JotKind) bool {
			return strings.Contains(string(k), " ") // "feels dry": a shell completes words one by one
		}))
	case words[last] == "to":
		return places(f, false)
	case words[last] == "of" && words[deed] == string(farm.Stocked):
		return speciesOffers(f)
	case words[last] == "of":
		return nil
	case words[deed] == string(farm.Sifted):
		return plain([]string{"of", "to"})
	}
	return plain([]string{"of"})
}

func hushOffers(words []string, f *farm.Farm) (all []offer) {
	if len(words) == 0 {
		return append(rooms(f), places(f, true)...)
	}
	for _, row := range farm.ConditionTable {
		all = append(all, offer{string(row.Name), row.Is})
	}
	return all
}

// placeOffers are the places of the farm and its bins, one of which may be named.
func placeOffers(_ context.Context, words []string, cfg *config.Config) []offer {
	if len(words) > 0 {
		return nil
	}
	return append(rooms(&cfg.Farm), places(&cfg.Farm, false)...)
}

func rooms(f *farm.Farm) (all []offer) {
	for _, r := range f.Rooms {
		all = append(all, offer{r.Name, "all that stands there"})
	}
	return all
}

func probeOffers(_ []string, f *farm.Farm) (all []offer) {
	for _, p := range f.Probes {
		all = append(all, offer{p.ID, string(p.Measures)})
	}
	return all
}

func speciesOffers(f *farm.Farm) (all []offer) {
	for _, s := range f.Species {
		all = append(all, offer{s.ID, s.Name})
	}
	return all
}

// places are bins, and their zones where they have several.
func places(f *farm.Farm, zones bool) (all []offer) {
	for _, b := range f.Bins {
		all = append(all, offer{b.Name, f.SayPlace(b.Name, "")})
		for _, z := range b.Zones {
			if zones && len(b.Zones) > 1 {
				all = append(all, offer{b.Name + "/" + z.Name, string(z.Aim)})
			}
		}
	}
	return all
}

// seenOffers are the ids of what stands, by the running daemon. A person waits for the
// answer, so it has a moment only.
func seenOffers(ctx context.Context, _ []string, cfg *config.Config) (all []offer) {
	ctx, stop := context.WithTimeout(ctx, time.Second)
	defer stop()
	v, err := client(cfg).Look(ctx, false)
	if err != nil {
		return nil
	}
	for _, s := range v.Standing {
		all = append(all, offer{s.Episode, s.Text})
	}
	return all
}
