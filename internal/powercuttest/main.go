// Powercut takes the power away from a machine and looks at what is left. It is run
// by `make powercut` as root, prints figures, and is no part of the program, its
// package or its tests.
//
// The machine is emulated: Debian with its own kernel and systemd, mosquitto, and
// the package installed by apt; 256 MB, one processor, /var on ext4. Sixty probes
// talk to it from outside, and what was promised is noted outside: which readings
// the daemon has acknowledged to the broker, which the broker to the probes, which
// notices have arrived; each with the length that the log of writes to the disk
// had at that moment.
//
//	image.go     what the machine is made of
//	machine.go   switching it on and off, and a shell in it; here.go does without one
//	farm.go      the farm, its probes, and the settings of daemon and broker
//	load.go      probes that talk; relay.go what passes between daemon and broker
//	ledger.go    what was promised, and where notices come in; mail.go is those by mail
//	writelog.go  the log of writes, and a disk as it is after a cut
//	check.go     what is left on a disk, held against what was promised
//	cuts.go      a recording and its many cuts; a machine that is killed
//	results.go   the table
//	month.go     a month instead of cuts; container.go is its machine with -here
package main

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "powercut:", err)
		os.Exit(1)
	}
}

func run() error {
	dir := flag.String("dir", "out/powercut", "where images, disks and logs lie; a few GB")
	points := flag.Int("points", 500, "instants of a recording at which the power goes")
	cuts := flag.Int("kills", 100, "times that the running machine is killed")
	talk := flag.Int("talk", 2000, "readings to be kept before the daemon is stopped, and after")
	saves := flag.String("saves", "", "lines for the broker's configuration instead of: autosave_interval 10")
	program := flag.String("program", "out/binwatchd-amd64", "the binwatchd that is in the package")
	deb := flag.String("deb", "", "the package")
	again := flag.Bool("as-built", false, "take the image as it is")
	inHere := flag.Bool("here", false, "no machine: broker and daemon run here, with a disk of their own; where a machine can only be emulated that saves hours")
	before := flag.Bool("as-recorded", false, "take the recording that was made last")
	long := flag.Duration("month", 0, "no cuts: sixty probes' month of readings in so long")
	every := flag.Duration("every", 10*time.Minute, "by its time stamps, how often a probe speaks in that month")
	wrong := flag.String("troubles", "", "days of that month on which something is wrong, like 16,20; all of them when left out")
	flag.Parse()
	if os.Geteuid() != 0 {
		return errors.New("it makes and mounts disks: run it as root")
	}
	where, err := filepath.Abs(*dir)
	if err != nil {
		return err
	}
	img := at(where)
	if !*again {
		if err := build(img, *deb); err != nil {
			return err
		}
	}
	accel := sync.OnceValue(func() string { return accelerator(img) })
	o := func() setting {
		s := setting{program: *program, saves: *saves}
		if !*inHere {
			s.accel = accel()
		}
		return s
	}
	if *long > 0 {
		well, err := liveMonth(img, o(), *long, *every, func(day int) bool {
			return *wrong == "" || slices.Contains(strings.Split(*wrong, ","), strconv.Itoa(day))
		})
		if err == nil && !well {
			err = errors.New("promises were broken")
		}
		return err
	}
	well := true
	if *points > 0 {
		get := func() (*recording, error) { return record(img, o(), *talk) }
		if *before {
			get = func() (*recording, error) { return recorded(img) }
		}
		r, err := get()
		if err != nil {
			return err
		}
		sent, accepted, kept, told := r.ledger.counts()
		fmt.Printf("recorded: %d readings sent, %d accepted by the broker, %d kept by the daemon, %d notices told\n", sent, accepted, kept, told)
		found, err := replay(r, *program, *points, []fate{atFlush, inOrder, some, torn, some, torn, lostTail, tornTail})
		if err != nil {
			return err
		}
		well = table(os.Stdout, found)
	}
	if *cuts > 0 {
		found, err := kills(img, o(), *cuts)
		well = table(os.Stdout, found) && well
		if err != nil {
			return err
		}
	}
	if !well {
		return errors.New("promises were broken")
	}
	return nil
}
