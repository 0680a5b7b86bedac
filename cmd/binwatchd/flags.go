package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"time"

	"binwatchd/internal/config"
)

// parse reads flags wherever they stand, and gives the words between them.
func parse(c command, fs *flag.FlagSet, args []string, io *streams) (words []string, err error) {
	fs.Usage = func() {}
	fs.SetOutput(discard{})
	for {
		err := fs.Parse(args)
		switch {
		case errors.Is(err, flag.ErrHelp):
			help(c, fs, io.out)
			return nil, errHelp
		case err != nil:
			return nil, misuse{err.Error()}
		}
		args = fs.Args()
		if len(args) == 0 {
			return words, nil
		}
		words, args = append(words, args[0]), args[1:]
	}
}

type discard struct{}

func (discard) Write(b []byte) (int, error) { return len(b), nil }

func help(c command, fs *flag.FlagSet, w io.Writer) {
	fmt.Fprintf(w, "usage: binwatchd %s %s\n\n%s\n", c.name, c.usage, c.does)
	first := true
	fs.VisitAll(func(f *flag.Flag) {
		if first {
			fmt.Fprintln(w)
			first = false
		}
		name, about := flag.UnquoteUsage(f)
		fmt.Fprintf(w, "  --%-22s %s\n", f.Name+" "+name, about)
	})
}

// configured parses the flags of a command that works on a configuration, has
// its words checked, and loads the file.
func configured(c command, fs *flag.FlagSet, args []string, check func(words []string) error, io *streams) (*config.Config, []string, error) {
	path := fs.String("config", "", "configuration `FILE`")
	words, err := parse(c, fs, args, io)
	if err != nil {
		return nil, nil, err
	}
	if err := check(words); err != nil {
		return nil, nil, err
	}
	cfg, err := load(*path, config.ForRun, io)
	return cfg, words, err
}

// oneWord wants exactly one word, and says what it is.
func oneWord(says string) func([]string) error {
	return func(words []string) error {
		if len(words) != 1 {
			return misuse{says}
		}
		return nil
	}
}

// noWords refuses what is neither flag nor wanted.
func noWords(words []string) error {
	if len(words) > 0 {
		return misusef("unexpected %q", words[0])
	}
	return nil
}

// moment reads a time on the command line: RFC 3339, a date, or a date with
// hours and minutes in the farm's time zone.
func moment(word string, loc *time.Location) (time.Time, error) {
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04", "2006-01-02 15:04", "2006-01-02"} {
		if t, err := time.ParseInLocation(layout, word, loc); err == nil {
			return t, nil
		}
	}
	return time.Time{}, misusef("%q is no time; write 2026-05-01, 2026-05-01T14:30 or 2026-05-01T14:30:00Z", word)
}
