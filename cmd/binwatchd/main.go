// Command binwatchd watches worm bins and tubs of castings through the probes
// in them, and tells the keeper in time what is wrong, how long until it
// matters and what to do. This package wires the parts together and holds no
// logic of its own.
//
// main.go is the command line. Each command has its file (now.go has rounds too,
// backup.go restore, jot.go hush, seen and take, notices.go tell-test, influx.go resend, web.go hash-password);
// begin.go is helped by beginask.go (questions), beginbins.go (a bin from question to file), beginhands.go (the
// probe that a hand moves) and keepsecret.go (where passwords are put).
// run.go waits at the start for a disk that can be written. daemon.go has the parts of
// the running daemon in the order in which readings flow; each part that takes more
// than a few lines has a file: notices.go, influx.go, web.go, control.go (the socket
// for commands), certificates.go (and secrets). reload.go puts a changed configuration
// in force.
package main

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"time"
	_ "time/tzdata" // the farm's time zone, on a machine without zone files

	"binwatchd/internal/clock"
	"binwatchd/internal/config"
	"binwatchd/internal/dashboard"
)

// Exit codes are part of the interface.
const (
	exitDone   = 0
	exitWrong  = 1 // the input or the world is wrong
	exitMisuse = 2 // the command line is
)

func main() { os.Exit(Main()) }

// Main runs one command and gives the exit code.
func Main() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return dispatch(ctx, os.Args[1:], &streams{os.Stdin, os.Stdout, os.Stderr})
}

// streams are where a command reads and writes: out is the answer, talk is
// everything else.
type streams struct {
	in   io.Reader
	out  io.Writer
	talk io.Writer
}

// An answer keeps the first error of the writer behind it: a command that
// prints has not done its work when nobody can have read it.
type answer struct {
	w   io.Writer
	err error
}

func (a *answer) Write(p []byte) (int, error) {
	n, err := a.w.Write(p)
	if err != nil && a.err == nil {
		a.err = fmt.Errorf("write the answer: %w", err)
	}
	return n, err
}

// A command is one word of the command line.
type command struct {
	name  string
	usage string // what follows the name
	does  string // one line
	// load gives the configuration that the command works on, which --config names;
	// nil: it works on none, or loads it by itself.
	load func(path string, io *streams) (*config.Config, error)
	// setup adds the command's own flags, and gives what it does once they are read.
	setup func(fs *flag.FlagSet) work
}

// line is how the command is written.
func (c command) line() string { return strings.TrimSpace(c.name + " " + c.usage) }

// work is what a command does with a command line.
type work struct {
	words func([]string) error // what is wrong with the words; nil: there are to be none
	flags func() error         // what is wrong with the flags; nil: nothing can be
	run   func(ctx context.Context, c *call) error
}

// simply makes the setup of a command without flags of its own.
func simply(words func([]string) error, run func(context.Context, *call) error) func(*flag.FlagSet) work {
	return func(*flag.FlagSet) work { return work{words: words, run: run} }
}

// A call is one run of a command: its words without the flags, the configuration it
// works on and that file's path, and where it reads and writes.
type call struct {
	*streams
	words []string
	path  string
	cfg   *config.Config
}

// do runs the command: the command line is judged whole before the configuration is
// read.
func (c command) do(ctx context.Context, args []string, io *streams) error {
	fs := flag.NewFlagSet(c.name, flag.ContinueOnError)
	w, path := c.flags(fs)
	words, err := parse(c, fs, args, io)
	if err != nil {
		return err
	}
	if w.words == nil {
		w.words = noWords
	}
	if err = w.words(words); err == nil && w.flags != nil {
		err = w.flags()
	}
	if err != nil {
		return err
	}
	one := &call{streams: io, words: words, path: *path}
	if c.load != nil {
		if one.cfg, err = c.load(*path, io); err != nil {
			return err
		}
	}
	return w.run(ctx, one)
}

// flags adds all that the command has.
func (c command) flags(fs *flag.FlagSet) (w work, path *string) {
	w, path = c.setup(fs), new(string)
	if c.load != nil {
		fs.StringVar(path, "config", "", "configuration `FILE`")
	}
	return w, path
}

// commands in the order in which a newcomer needs them.
func commands() []command {
	return []command{
		{"demo", "[--listen ADDR] [--days N] [--for DURATION] [--speed N]",
			"shows the whole program at work on an invented nursery, with nothing else installed", nil, demoWork},
		{"begin", "[FILE]",
			"asks you what you have and writes the configuration, or adds to it; finds which probe sits where by your hand", nil, beginWork},
		{"listen", "--broker URL [--user U --password-file F] [--ca FILE] [--write FILE] [--for DURATION]",
			"hears a broker and proposes a probes: section for what it carries, or adds what is new to a configuration", nil, listenWork},
		{"check", "--config FILE [--show] [--payload TOPIC TEXT] | --schema",
			"checks a configuration: every error at once, with its place", nil, checkWork},
		runCommand(clock.Kernel()),
		{"now", "[PLACE|BIN] [--probes] --config FILE [--json]",
			"shows each zone: readings, species, conditions, forecasts, doubts; or how reliable each probe was", forRun, nowWork},
		{"rounds", "[PLACE|BIN] [--for NAME] --config FILE [--json]", "writes the care list for today, or one person's part of it", forRun, roundsWork},
		{"ahead", "[--for LONG] [--if SUPPOSED] --config FILE [--json | --ics FILE]",
			"shows all that comes, by day, and how much castings there will be by when", forRun, aheadWork},
		{"jot", "BIN[/ZONE] WHAT [AMOUNT] [of KIND] [to BIN] [--at TIME] [--note] | - [--note] | --last | --strike NUMBER [--by NAME] --config FILE",
			"adds to the logbook, in your own words: jot fed bed 2 kg scraps and watered ½ gal yesterday", forRun, jotWork},
		{"hush", "BIN[/ZONE] | PLACE [CONDITION [QUANTITY]] --for 2h [--by NAME] --config FILE",
			"keeps quiet about a bin, the bins of a place, or one of their conditions for a while", forRun, hushWork},
		{"seen", "ID... [--by NAME] --config FILE",
			"says that you know of raised conditions; now shows the ids", forRun, seenWork},
		{"take", "ID... [--until tonight] [--by NAME] --config FILE",
			"says that you look after raised conditions until then; the others are left alone, unless it gets worse", forRun, takeWork},
		{"calibrate", "PROBE [--weighed [RAW]=WET,DRY,TIN]... [--mark [RAW]=VALUE]... [--feel [RAW]=WORD]... --config FILE",
			"makes calibration points from samples you know, as YAML to paste; without RAW the probe's newest reading counts", forRehearsal, calibrateWork},
		{"rehearse", "--config FILE [--against FILE2|told] (--messages CSV | --journal) [--from T] [--to T] [--json]",
			"shows what a configuration would have noticed in a recording or in the farm's own past", nil, rehearseWork},
		{"tell-test", "--config FILE",
			"sends a test notice to everyone and says what their servers answered", forRun, simply(nil, tellTest)},
		{"export", "--config FILE [--what readings|conditions|logbook|names] [--from T] [--to T] [--format csv|json|lines]",
			"writes the readings that are kept, the conditions or the logbook, as CSV, JSON or InfluxDB line protocol", forRun, exportWork},
		{"backup", "FILE | FOLDER --keep N [--every LONG] [--disk other|same] --config FILE",
			"writes a consistent copy of the journal and checks it, also while the daemon runs", forRun, backupWork},
		{"restore", "FILE --config FILE",
			"puts a copy in the journal's place and says what is missing since; the daemon must be stopped", forRun, simply(oneWord("wants the FILE to put in place"), restore)},
		{"resend", "--from T [--to T] --config FILE",
			"forwards a range of times to the database again", forRun, resendWork},
		{"dashboard", strings.Join(dashboard.Kinds, " | "),
			"prints a dashboard of the farm to import elsewhere", nil, simply(oneWord("wants one kind: "+strings.Join(dashboard.Kinds, " or ")), printDashboard)},
		{"species", "[--config FILE]",
			"prints the species table with its sources and their disagreements", nil, speciesWork},
		{"hash-password", "",
			"reads a password from standard input and writes its hash, for the file behind page: {password:}", nil, simply(nil, hashPassword)},
		{"complete", "bash | zsh | fish",
			"prints what a shell needs to complete words of this program; the packages bring it", nil, completeWork},
		{"version", "[--licences]", "prints the version, or the licences of all that is in the program", nil, versionWork},
	}
}

func dispatch(ctx context.Context, args []string, io *streams) int {
	if len(args) == 0 {
		overview(io.talk)
		return exitMisuse
	}
	switch args[0] {
	case "help", "-h", "-help", "--help":
		if len(args) == 1 {
			overview(io.out)
			return exitDone
		}
		args = []string{args[1], "--help"} // help COMMAND is COMMAND --help
	case "-version", "--version":
		args[0] = "version"
	}
	c, ok := commandNamed(args[0])
	if !ok {
		io.complain(fmt.Sprintf("binwatchd: there is no command %q; see binwatchd help", args[0]))
		return exitMisuse
	}
	out := &answer{w: io.out}
	io = &streams{in: io.in, out: out, talk: io.talk}
	return exitCode(c, cmp.Or(c.do(ctx, args[1:], io), out.err), io)
}

func commandNamed(name string) (command, bool) {
	all := commands()
	i := slices.IndexFunc(all, func(c command) bool { return c.name == name })
	if i < 0 {
		return command{}, false
	}
	return all[i], true
}

// misuse is an error of the command line.
type misuse struct{ says string }

func (m misuse) Error() string { return m.says }

func misusef(format string, args ...any) error { return misuse{fmt.Sprintf(format, args...)} }

// misuseIf is an error of the command line where something is wrong with it.
func misuseIf(wrong bool, says string) error {
	if wrong {
		return misuse{says}
	}
	return nil
}

// errHelp says that help was asked for and given.
var errHelp = errors.New("help was asked for")

// errSaid is an error whose message the command has written already.
var errSaid = errors.New("said already")

func exitCode(c command, err error, io *streams) int {
	var m misuse
	switch {
	case err == nil, errors.Is(err, errHelp):
		return exitDone
	case errors.As(err, &m):
		io.complain(fmt.Sprintf("binwatchd %s: %v\nusage: binwatchd %s", c.name, err, c.line()))
		return exitMisuse
	case errors.Is(err, errSaid):
		return exitWrong
	case errors.Is(err, context.Canceled):
		fmt.Fprintf(io.talk, "binwatchd %s: stopped\n", c.name)
		return exitWrong
	}
	io.complain(fmt.Sprintf("binwatchd %s: %v", c.name, err))
	return exitWrong
}

func overview(w io.Writer) {
	fmt.Fprint(w, "binwatchd watches worm bins and tubs of castings and tells the keeper in time.\n\n")
	for _, c := range commands() {
		fmt.Fprintf(w, "  binwatchd %-10s %s\n", c.name, c.does)
	}
	fmt.Fprint(w, "\nbinwatchd help COMMAND tells more. Begin with: binwatchd demo\n")
}

// negative is the beginning of a number below nothing: -3.5.
var negative = regexp.MustCompile(`^-\.?[0-9]`)

// parse reads flags wherever they stand, and gives the words between them.
func parse(c command, fs *flag.FlagSet, args []string, s *streams) (words []string, err error) {
	fs.Usage = func() {}
	fs.SetOutput(io.Discard)
	for {
		if len(words) == 0 || len(args) == 0 || !negative.MatchString(args[0]) { // no flag begins with a digit
			err := fs.Parse(args)
			switch {
			case errors.Is(err, flag.ErrHelp):
				help(c, fs, s.out)
				return nil, errHelp
			case err != nil:
				return nil, misuse{err.Error()}
			}
			rest := fs.Args()
			if read := len(args) - len(rest); read > 0 && args[read-1] == "--" { // what follows is words
				return append(words, rest...), nil
			}
			args = rest
		}
		if len(args) == 0 {
			return words, nil
		}
		words, args = append(words, args[0]), args[1:]
	}
}

func help(c command, fs *flag.FlagSet, w io.Writer) {
	fmt.Fprintf(w, "usage: binwatchd %s\n\n%s\n", c.line(), c.does)
	gap := "\n"
	fs.VisitAll(func(f *flag.Flag) {
		name, about := flag.UnquoteUsage(f)
		fmt.Fprintf(w, "%s  --%-22s %s\n", gap, f.Name+" "+name, about)
		gap = ""
	})
	if c.name == "dashboard" {
		fmt.Fprint(w, "\n"+dashboard.Importing)
	}
}

// forRun and forRehearsal load the configuration of a command.
func forRun(path string, s *streams) (*config.Config, error) { return load(path, config.ForRun, s) }

func forRehearsal(path string, s *streams) (*config.Config, error) {
	return load(path, config.ForRehearsal, s)
}

// load reads the configuration a command was given. Every problem goes to
// talk, a line each.
func load(path string, need config.Need, s *streams) (*config.Config, error) {
	if path == "" {
		return nil, misusef("--config FILE is needed")
	}
	cfg, err := config.Load(path, need)
	var problems *config.Problems
	if errors.As(err, &problems) {
		s.complain(problems.Error())
		return nil, errSaid
	}
	if err != nil {
		return nil, err
	}
	for _, n := range cfg.Notes {
		fmt.Fprintln(s.talk, "note:", n)
	}
	return cfg, nil
}

// oneWord wants exactly one word, and says what it is.
func oneWord(says string) func([]string) error {
	return func(words []string) error { return misuseIf(len(words) != 1, says) }
}

// noWords refuses what is neither flag nor wanted.
func noWords(words []string) error {
	if len(words) > 0 {
		return misusef("unexpected %q", words[0])
	}
	return nil
}

// moment reads a time on the command line: RFC 3339, a date, or a date with
// hours and minutes in the farm's time zone; "" is the zero time.
func moment(word string, loc *time.Location) (time.Time, error) {
	if word == "" {
		return time.Time{}, nil
	}
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04", "2006-01-02 15:04", "2006-01-02"} {
		if t, err := time.ParseInLocation(layout, word, loc); err == nil {
			return t, nil
		}
	}
	return time.Time{}, misusef("%q is no time; write 2026-05-01, 2026-05-01T14:30 or 2026-05-01T14:30:00Z", word)
}
