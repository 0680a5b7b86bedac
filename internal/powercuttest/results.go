package main

import (
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"text/tabwriter"
	"time"
)

// A result is what was found after one cut.
type result struct {
	cut
	finding
	err error
}

// print tells of a cut at once, where there is something to tell.
func (r result) print() {
	if r.err != nil {
		fmt.Fprintf(os.Stderr, "entry %d, %s: not examined: %v\n", r.entry, r.fate, r.err)
	}
	if b := r.broken(); len(b) > 0 {
		fmt.Fprintf(os.Stderr, "entry %d, %s: %s\n", r.entry, r.fate, strings.Join(b, "; "))
	}
}

// table prints the results by what happened at the cut, with readings and notices
// counted at each cut anew, and tells whether every
// promise was kept where the disk kept its own.
func table(w io.Writer, all []result) (well bool) {
	well = true
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "cut\tpoints\tpromises broken\treadings acknowledged by then\tof them missing\ttwice\tnotices told\tuntrue\tagain\ttold after\tmost that the broker lost at once\tnot started\tlog torn\tset aside\te2fsck by hand\tup: median\tmost\tover 3 s")
	var fates []fate
	for _, r := range all {
		if !slices.Contains(fates, r.fate) {
			fates = append(fates, r.fate)
		}
	}
	for _, f := range fates {
		var n, broken, promised, missing, twice, told, untrue, again, owed, lost, noBroker, torn, aside, byHand, slow int
		var ups []time.Duration
		for _, r := range all {
			if r.fate != f {
				continue
			}
			n++
			if r.err != nil || len(r.broken()) > 0 {
				broken++
			}
			promised, missing, twice = promised+r.promised, missing+len(r.missing), twice+len(r.twice)
			told, untrue, again, owed = told+r.told, untrue+len(r.untrue), again+r.again, owed+r.owed
			lost = max(lost, r.lost)
			noBroker, torn, aside = noBroker+one(r.noBroker != ""), torn+one(r.tornLog), aside+one(r.setAside)
			byHand += one(r.byHand)
			slow += one(r.up > 3*time.Second)
			ups = append(ups, r.up)
		}
		slices.Sort(ups)
		fmt.Fprintf(t, "%s\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%s\t%s\t%d\n", f, n, broken, promised, missing, twice, told, untrue, again, owed,
			lost, noBroker, torn, aside, byHand, ups[len(ups)/2].Round(time.Millisecond), ups[len(ups)-1].Round(time.Millisecond), slow)
		well = well && (broken == 0 || f.lies())
	}
	t.Flush()
	return well
}

func one(yes bool) int {
	if yes {
		return 1
	}
	return 0
}
