package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"time"
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
