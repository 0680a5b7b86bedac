// Command binwatchd watches worm bins and tubs of castings through the probes
// in them, and tells the keeper in time what is wrong, how long until it
// matters and what to do. This package wires the parts together and holds no
// logic of its own: one file a command.
package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // the farm's time zone, on a machine without zone files

	"binwatchd/internal/clock"
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
	run   func(ctx context.Context, args []string, io *streams) error
}

// commands in the order in which a newcomer needs them.
func commands() []command {
	return []command{
		demoCommand(), listenCommand(), checkCommand(), runCommand(clock.Kernel()), nowCommand(), roundsCommand(), jotCommand(), hushCommand(),
		seenCommand(), calibrateCommand(), rehearseCommand(), tellTestCommand(), exportCommand(), backupCommand(), resendCommand(), speciesCommand(), hashPasswordCommand(), versionCommand(),
	}
}

func dispatch(ctx context.Context, args []string, io *streams) int {
	if len(args) == 0 {
		overview(io.talk)
		return exitMisuse
	}
	switch args[0] {
	case "help", "-h", "-help", "--help":
		overview(io.out)
		return exitDone
	}
	for _, c := range commands() {
		if c.name == args[0] {
			out := &answer{w: io.out}
			io = &streams{in: io.in, out: out, talk: io.talk}
			return exitCode(c, cmp.Or(c.run(ctx, args[1:], io), out.err), io)
		}
	}
	fmt.Fprintf(io.talk, "binwatchd: there is no command %q; see binwatchd help\n", args[0])
	return exitMisuse
}

// misuse is an error of the command line.
type misuse struct{ says string }

func (m misuse) Error() string { return m.says }

func misusef(format string, args ...any) error { return misuse{fmt.Sprintf(format, args...)} }

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
		fmt.Fprintf(io.talk, "binwatchd %s: %v\nusage: binwatchd %s %s\n", c.name, err, c.name, c.usage)
		return exitMisuse
	case errors.Is(err, errSaid):
		return exitWrong
	case errors.Is(err, context.Canceled):
		fmt.Fprintf(io.talk, "binwatchd %s: stopped\n", c.name)
		return exitWrong
	}
	fmt.Fprintf(io.talk, "binwatchd %s: %v\n", c.name, err)
	return exitWrong
}

func overview(w io.Writer) {
	fmt.Fprint(w, "binwatchd watches worm bins and tubs of castings and tells the keeper in time.\n\n")
	for _, c := range commands() {
		fmt.Fprintf(w, "  binwatchd %-10s %s\n", c.name, c.does)
	}
	fmt.Fprint(w, "\nbinwatchd COMMAND --help tells more. Begin with: binwatchd demo\n")
}
