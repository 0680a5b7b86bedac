package notify

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"binwatchd/internal/farm"
)

// several is the sheet about episodes that are told together.
func (w writer) several(ctx context.Context, ms []matter) sheet {
	live, gone := livePart(ms)
	s := sheet{Subject: w.severalSubject(live, gone), First: w.severalFirst(live), Now: slices.ContainsFunc(live, matter.atNow)}
	const pictured = 4
	for i, m := range live {
		p := w.episodePart(m)
		if i < pictured && m.say != over {
			p.Pictures = w.pictures(ctx, m.last.Change)
		}
		s.add(p)
	}
	if len(gone) > 0 {
		p := part{Title: "Came and went before it could be told"}
		for _, m := range gone {
			p.List = append(p.List, strings.TrimSuffix(w.cameWentLine(m), " It was over before it could be told."))
		}
		s.add(p)
	}
	for _, caution := range cautions(live) {
		s.add(part{Lines: []string{caution}, Careful: true})
	}
	s.Foot = w.foot()
	for _, m := range live[:min(len(live), offered)] {
		if m.say != over {
			what := fmt.Sprintf("Seen it (%s: %s)", place(&w.farm, m.last.Change), m.last.Change.Is())
			s.Pasted = append(s.Pasted, [2]string{what, w.command("seen", m.last.Change.Episode)})
		}
	}
	return s
}

// offered is how many things of a letter have a command in it: the first, which
// are the most urgent.
const offered = 4

// livePart sorts what came and went from the rest.
func livePart(ms []matter) (live, gone []matter) {
	for _, m := range ms {
		if m.say == cameWent {
			gone = append(gone, m)
		} else {
			live = append(live, m)
		}
	}
	return oncePerPlace(live), gone
}

// oncePerPlace leaves one of the matters that say the same of one place, as all
// do that a bin had when it was taken out of the configuration.
func oncePerPlace(ms []matter) []matter {
	said := map[string]bool{}
	return slices.DeleteFunc(ms, func(m matter) bool {
		text := m.last.Change.Text
		again := m.last.Change.Ended == farm.Unwatched && said[text]
		said[text] = true
		return again
	})
}

// episodePart is one episode among several.
func (w writer) episodePart(m matter) part {
	p := part{Title: place(&w.farm, m.last.Change) + ": " + w.matterWords(m), Lines: w.saying(m)}
	if m.say != over {
		p.Do = w.doing(m)
		p.Rows = w.foreseen(m.last.Change)
	}
	return p
}

// severalSubject names everything that fits: one condition with its places, or
// place by place.
func (w writer) severalSubject(live, gone []matter) string {
	prefix := ""
	if slices.ContainsFunc(live, matter.atNow) {
		prefix = "Now: "
	}
	if len(live) == 0 {
		return fmt.Sprintf("%s: %s came and went", w.farm.Name, things(len(gone)))
	}
	if is, ok := alike(live); ok {
		return oneLine(prefix+capital(is)+": "+listed(w.places(live)), 160)
	}
	var each []string
	for _, m := range live {
		each = append(each, place(&w.farm, m.last.Change)+": "+briefly(m))
	}
	return oneLine(prefix+strings.Join(each, "; "), 160)
}

// briefly is a matter in two or three words.
func briefly(m matter) string {
	is := m.last.Change.Is()
	switch m.say {
	case over:
		return overWords(m.last.Change)
	case still:
		return "still " + is
	}
	return is
}

func things(n int) string {
	if n == 1 {
		return "one thing"
	}
	return fmt.Sprintf("%d things", n)
}

// alike tells whether all matters say the same, and what.
func alike(ms []matter) (is string, ok bool) {
	for _, m := range ms[1:] {
		if briefly(m) != briefly(ms[0]) {
			return "", false
		}
	}
	return briefly(ms[0]), true
}

// places are the names of what the matters are about, each once.
func (w writer) places(ms []matter) []string {
	var out []string
	for _, m := range ms {
		if p := place(&w.farm, m.last.Change); !slices.Contains(out, p) {
			out = append(out, p)
		}
	}
	return out
}

// severalFirst is what to do first: see to what the places share, where it
// looks as if they shared something.
func (w writer) severalFirst(live []matter) string {
	if cause := w.sharedCause(live); cause != "" {
		return cause
	}
	if len(live) == 0 || !slices.ContainsFunc(live, func(m matter) bool { return m.say != over || m.last.Change.Ended == farm.Unwatched }) {
		return "Nothing to do."
	}
	first := w.doing(live[0])
	if _, ok := alike(live); ok {
		return first
	}
	return place(&w.farm, live[0].last.Change) + " first: " + first
}

func cautions(ms []matter) []string {
	var out []string
	for _, m := range ms {
		for _, c := range m.last.Change.Cautions {
			if !slices.Contains(out, c) {
				out = append(out, c)
			}
		}
	}
	return out
}

// sharedCause names what several places may have in common, when the same
// arises in two bins or with two probes at once.
func (w writer) sharedCause(live []matter) string {
	hot, cold, quiet := w.spread(live, farm.TooHot), w.spread(live, farm.TooCold), w.spread(live, farm.Silent)
	switch {
	case cold >= 2 && quiet >= 2:
		return "Bins cool and probes fall silent at the same time: it looks like a power cut. See whether there is power, and heating."
	case cold >= 2:
		return w.airCause(live, farm.TooCold, "cooled", "the heating, the power, or a door left open")
	case hot >= 2:
		return w.airCause(live, farm.TooHot, "warmed", "the sun, the vents, or heating that does not stop")
	case quiet >= 2:
		return fmt.Sprintf("%d probes fell silent at the same time: look for what they share, the power, the network or the broker, before any single probe.", quiet)
	}
	return ""
}

// spread counts the bins, or the probes, in which a condition has been raised.
func (w writer) spread(live []matter, c farm.Condition) int {
	var where []string
	for _, m := range live {
		ch := m.last.Change
		name := ch.Bin
		if c == farm.Silent {
			name = ch.Probe
		}
		if ch.Condition == c && m.say != over && !slices.Contains(where, name) {
			where = append(where, name)
		}
	}
	return len(where)
}

// airCause speaks of bins that changed together, and of the air they stand in
// when they share it.
func (w writer) airCause(live []matter, c farm.Condition, changed, look string) string {
	air, shared := "", true
	for _, m := range live {
		if m.last.Change.Condition != c || m.say == over {
			continue
		}
		b, _ := w.farm.BinByName(m.last.Change.Bin)
		shared = shared && b.Ambient != "" && (air == "" || air == b.Ambient)
		air = b.Ambient
	}
	line := fmt.Sprintf("Several bins %s at the same time", changed)
	if shared {
		line += ", and they stand in the same air" + w.airNow(air)
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
