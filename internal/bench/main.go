// Bench prints the project's figures as one table: what this program does beside
// what the same machine can do at best, measured in one run by the benchmarks
// of the packages and of this one. It is run by `make bench`, takes some
// twenty-five minutes, and wants the servers that the tests want. Nothing of it is
// in the shipped program, and no test asserts what it measures.
package main

import (
	"fmt"
	"os"
	"os/exec"
	"strings"
	"time"
)

func main() {
	all, err := measure()
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
	fmt.Println(machine())
	fmt.Println()
	table(os.Stdout, all)
	if len(all.missed) > 0 {
		fmt.Fprintln(os.Stderr, "bench: not measured:", strings.Join(all.missed, ", "))
		os.Exit(1)
	}
}

// suites are the benchmarks that the figures come from, in the order in which
// they run: nothing else runs beside them.
var suites = []struct{ pkg, pattern, rounds string }{
	{"bench", "Intake", "11x"},
	{"bench", "Beside", "11x"},
	{"bench", "Rehearse", "11x"},
	{"bench", "Step", "2s"},
	{"journal", "Wear/20_probes.*", "1x"},
	{"influx", "Backlog", "11x"},
	{"bench", "Year", "1x"},
	{"bench", "Ahead", "1x"},
	{"bench", "Nursery", "1x"},
	{"notify", "Night", "1x"},
	{"bench", "Readers", "3x"},
	{"bench", "Flood", "1x"},
	{"bench", "Decade", "1x"},
	{"bench", "Told", "1x"},
	{"page", "Front", "2s"},
	{"bench", "Acceptance", "1x"},
	{"bench", "Exposed", "1x"},
	{"bench", "Shelf", "1x"},
	{"bench", "Ground", "1x"},
	{"bench", "DropOuts", "1x"},
	{"bench", "Feeding", "1x"},
	{"bench", "Doses", "1x"},
}

// floods is how often memory is looked at while messages come.
const floods = 20

func measure() (*results, error) {
	all := &results{}
	for _, s := range suites {
		fmt.Fprintf(os.Stderr, "%s  %s of %s\n", time.Now().Format(time.TimeOnly), s.pattern, s.pkg)
		cmd := exec.Command("go", "test", "-run", "^$", "-bench", "^Benchmark"+s.pattern+"$", "-benchtime", s.rounds, "-timeout", "60m", "binwatchd/internal/"+s.pkg)
		out, err := cmd.CombinedOutput()
		if err != nil {
			return nil, fmt.Errorf("%s of %s: %w\n%s", s.pattern, s.pkg, err, out)
		}
		if err := all.read(string(out)); err != nil {
			return nil, fmt.Errorf("%s of %s: %w", s.pattern, s.pkg, err)
		}
	}
	return all, nil
}

// machine says where it was measured.
func machine() string {
	out := func(name string, args ...string) string {
		text, err := exec.Command(name, args...).Output()
		if err != nil {
			return "?"
		}
		return strings.TrimSpace(string(text))
	}
	cpu := "unknown processor"
	if text, err := os.ReadFile("/proc/cpuinfo"); err == nil {
		if _, rest, ok := strings.Cut(string(text), "model name"); ok {
			cpu, _, _ = strings.Cut(strings.TrimLeft(rest, "\t :"), "\n")
		}
	}
	return fmt.Sprintf("%s, %s, %s cores, Linux %s, %s", time.Now().Format("2 January 2006"), cpu, out("nproc"), out("uname", "-r"), strings.TrimPrefix(out("go", "version"), "go version "))
}
