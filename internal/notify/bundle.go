package notify

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"binwatchd/internal/farm"
)

// several is the content about episodes that are told together.
func (w writer) several(ctx context.Context, items []item) content {
	const shown = 4 // of the most urgent: how many get a picture and a command
	live, gone := livePart(items)
	c := content{Subject: w.severalSubject(live, gone), First: w.severalFirst(live), Now: slices.ContainsFunc(live, item.atNow), Foot: w.foot()}
	var cautions []string
	for i, it := range live {
		change := it.last.Change
		p := part{Title: w.place(it) + ": " + w.words(it), Lines: w.saying(it)}
		if it.say != over {
			p.Do, p.Rows = w.doing(it), w.foreseen(change)
			if i < shown {
				p.Pictures, p.Acts = w.pictures(ctx, change), w.acts(ctx, it).Acts
				what := fmt.Sprintf("Seen it (%s: %s)", w.place(it), change.Is())
				c.Pasted = append(c.Pasted, [2]string{what, w.command("seen", change.Episode)})
			}
		}
		c.add(p)
		cautions = append(cautions, change.Cautions...)
	}
	past := part{Title: "Came and went before it could be told"}
	for _, it := range gone {
		past.List = append(past.List, w.cameWentLine(it))
	}
	c.add(past, part{Cautions: distinct(cautions)})
	return c
}

// distinct leaves the first of words that are the same.
func distinct(words []string) (out []string) {
	for _, word := range words {
		if !slices.Contains(out, word) {
			out = append(out, word)
		}
	}
	return out
}

// livePart sorts what came and went from the rest. Of the items that say the
// same of one place, as all do that a bin had when it was taken out of the
// configuration, it leaves one.
func livePart(items []item) (live, gone []item) {
	gone, live = divided(items, func(it item) bool { return it.say == cameWent })
	said := map[string]bool{}
	return slices.DeleteFunc(live, func(it item) bool {
		c := it.last.Change
		again := c.Ended == farm.Unwatched && said[c.Text]
		said[c.Text] = true
		return again
	}), gone
}

// severalSubject names everything that fits: one condition with its places, or
// place by place.
func (w writer) severalSubject(live, gone []item) string {
	prefix := ""
	if slices.ContainsFunc(live, item.atNow) {
		prefix = "Now: "
	}
	if len(live) == 0 {
		return fmt.Sprintf("%s: %s came and went", w.farm.Name, things(len(gone)))
	}
	var places, each []string
	for _, it := range live {
		places = append(places, w.place(it))
		each = append(each, w.place(it)+": "+briefly(it))
	}
	if alike(live) {
		return oneLine(prefix+farm.Capital(briefly(live[0]))+": "+farm.SayList(distinct(places)), 160)
	}
	return oneLine(prefix+strings.Join(each, "; "), 160)
}

// briefly is an item in two or three words.
func briefly(it item) string {
	switch c := it.last.Change; it.say {
	case over:
		return overWords(c)
	case still:
		return "still " + c.Is()
	default:
		return c.Is()
	}
}

func things(n int) string {
	if n == 1 {
		return "one thing"
	}
	return fmt.Sprintf("%d things", n)
}

// alike tells whether all items say the same.
func alike(items []item) bool {
	return !slices.ContainsFunc(items, func(it item) bool { return briefly(it) != briefly(items[0]) })
}

// severalFirst is what to do first: see to what the places share, where it
// looks as if they shared something.
func (w writer) severalFirst(live []item) string {
	if cause := w.sharedCause(live); cause != "" {
		return cause
	}
	if !slices.ContainsFunc(live, func(it item) bool { return it.say != over || it.last.Change.Ended == farm.Unwatched }) {
		return "Nothing to do."
	}
	first := w.doing(live[0])
	if alike(live) {
		return first
	}
	return w.place(live[0]) + " first: " + first
}

// sharedCause names what several places may have in common, when the same
// arises in two bins or with two probes at once.
func (w writer) sharedCause(live []item) string {
	hot, cold, quiet := spread(live, farm.TooHot), spread(live, farm.TooCold), spread(live, farm.Silent)
	switch {
	case len(cold) >= 2 && len(quiet) >= 2:
		return "Bins cool and probes fall silent at the same time: it looks like a power cut. See whether there is power, and heating."
	case len(cold) >= 2:
		return w.airCause(cold, "cooled", "the heating, the power, or a door left open")
	case len(hot) >= 2:
		return w.airCause(hot, "warmed", "the sun, the vents, or heating that does not stop")
	case len(quiet) >= 2:
		return fmt.Sprintf("%d probes fell silent at the same time: look for what they share, the power, the network or the broker, before any single probe.", len(quiet))
	}
	return ""
}

// spread lists the bins, or the probes, in which a condition has been raised.
func spread(live []item, c farm.Condition) (where []string) {
	for _, it := range live {
		if change := it.last.Change; change.Condition == c && it.say != over {
			where = append(where, cmp.Or(change.Probe, change.Bin))
		}
	}
	return distinct(where)
}

// airCause speaks of bins that changed together, and of the air they stand in
// when they share it.
func (w writer) airCause(bins []string, changed, look string) string {
	var airs []string
	for _, name := range bins {
		b, _ := w.farm.BinByName(name)
		airs = append(airs, b.Ambient)
	}
	line := fmt.Sprintf("Several bins %s at the same time", changed)
	if airs = distinct(airs); len(airs) == 1 && airs[0] != "" {
		line += ", and they stand in the same air" + w.airNow(airs[0])
	}
	return line + ": look for what they share, " + look + ", before any single bin."
}

// airNow is what an air probe says, when that can be believed.
func (w writer) airNow(id string) string {
	for _, p := range w.view.Probes {
		if p.ID == id && p.Value != nil && p.Fresh && p.Doubt == "" {
			return fmt.Sprintf(" (%s says %s)", id, w.number(p))
		}
	}
	return ""
}
