package rehearse

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"binwatchd/internal/farm"
)

// A Truth holds what was noticed then, in truth, against what this configuration and
// program notice in the same past.
type Truth struct {
	From     time.Time `json:"from"` // of the time that is compared
	To       time.Time `json:"to"`
	Then     Outcome   `json:"then"`
	Now      Outcome   `json:"now"`
	Both     []Twice   `json:"both"` // the same condition of the same subject, at times that overlap
	OnlyThen []Episode `json:"only_then"`
	OnlyNow  []Episode `json:"only_now"`
}

// A Twice is an episode that was noticed then and is now.
type Twice struct {
	Then  Episode `json:"then"`
	Now   Episode `json:"now"`
	Later float64 `json:"later_seconds"` // now; less than nothing: earlier
}

// AgainstTruth compares what was raised in [from, to) at any time. Zero ends are those of
// what was rehearsed: of what lies outside, nothing is known.
func AgainstTruth(then, now Outcome, from, to time.Time) (Truth, error) {
	from = latest(from, now.Stats.First)
	if last := now.Stats.Last.Add(time.Millisecond); to.IsZero() || last.Before(to) {
		to = last
	}
	if !from.Before(to) {
		return Truth{}, errors.New("the journal holds no readings of that time")
	}
	t := Truth{From: from, To: to, Then: then.within(from, to), Now: now.within(from, to), Both: []Twice{}, OnlyThen: []Episode{}}
	t.OnlyNow = t.Now.Episodes
	for _, e := range t.Then.Episodes {
		i := nearest(e, t.OnlyNow)
		if i < 0 {
			t.OnlyThen = append(t.OnlyThen, e)
			continue
		}
		other := t.OnlyNow[i]
		t.OnlyNow = append(t.OnlyNow[:i:i], t.OnlyNow[i+1:]...)
		t.Both = append(t.Both, Twice{e, other, other.From.Sub(e.From).Seconds()})
	}
	return t, nil
}

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// within leaves out the episodes that were not raised at any time in [from, to).
func (o Outcome) within(from, to time.Time) Outcome {
	all := o.Episodes
	o.Episodes, o.Notices, o.Outside = []Episode{}, 0, nil
	for _, e := range all {
		if e.From.Before(to) && (e.To.IsZero() || e.To.After(from)) {
			o.Episodes = append(o.Episodes, e)
			o.Notices += e.Notices
		}
	}
	return o
}

// nearest finds which of several is the counterpart of an episode; -1: none.
func nearest(e Episode, among []Episode) int {
	found, best := -1, time.Duration(0)
	for i, o := range among {
		if off := o.From.Sub(e.From).Abs(); e.meets(o) && (found < 0 || off < best) {
			found, best = i, off
		}
	}
	return found
}

// otherwise tells in words what is otherwise now; "" where nothing is.
func (t Twice) otherwise() string {
	var says []string
	switch off := t.Now.From.Sub(t.Then.From); {
	case off >= time.Minute:
		says = append(says, farm.SayLong(off)+" later")
	case off <= -time.Minute:
		says = append(says, farm.SayLong(-off)+" earlier")
	}
	if t.Then.Worst != t.Now.Worst {
		says = append(says, fmt.Sprintf("%s then, %s now", t.Then.Worst, t.Now.Worst))
	}
	if was, is := t.Then.Notices > 0, t.Now.Notices > 0; was && !is {
		says = append(says, "told then, not now")
	} else if is && !was {
		says = append(says, "not told then, told now")
	}
	return strings.Join(says, "; ")
}

// Write writes the comparison for a person.
func (t Truth) Write(w io.Writer, loc *time.Location) error {
	fmt.Fprintf(w, "from %s to %s\n\n", t.From.In(loc).Format(dayAndTime), t.To.In(loc).Format(dayAndTime))
	counts := tabwriter.NewWriter(w, 0, 0, 3, ' ', 0)
	writeCounts(counts, t.Then, t.Now)
	if err := counts.Flush(); err != nil {
		return fmt.Errorf("write comparison: %w", err)
	}
	alike := 0
	var other []string
	for _, both := range t.Both {
		if says := both.otherwise(); says != "" {
			other = append(other, fmt.Sprintf("  %s, %s\n", both.Then.name(loc), says))
		} else {
			alike++
		}
	}
	fmt.Fprintf(w, "\nthen and now, alike: %d\n\nthen and now, but otherwise now\n%s", alike, cmp.Or(strings.Join(other, ""), "  nothing\n"))
	writeOnly(w, "only then", t.OnlyThen, loc)
	writeOnly(w, "only now", t.OnlyNow, loc)
	return nil
}
