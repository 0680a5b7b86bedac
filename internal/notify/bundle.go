package notify

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"binwatchd/internal/cause"
	"binwatchd/internal/farm"
)

// A section is a stretch of a letter that speaks of several things: one episode, or all that
// one cause has brought about.
type section struct {
	items    []item
	said     *cause.Said // nil: of one episode
	kind     cause.Kind  // of the cause; "" where it is over
	episodes []string    // that it names, those that were told before, too
}

// sections parts what a letter tells by what it comes of, in the order of its items.
func (w writer) sections(live []item) (all []section) {
	var raised []farm.Standing
	for _, st := range w.view.Standing {
		if w.known[st.Episode] {
			raised = append(raised, st)
		}
	}
	for _, it := range live {
		if c := it.last.Change; it.say != over && !slices.ContainsFunc(raised, func(st farm.Standing) bool { return st.Episode == c.Episode }) {
			raised = append(raised, asStanding(c))
		}
	}
	causes := cause.Find(&w.farm, &w.view, raised)
	done := map[string]bool{}
	for _, it := range live {
		s := section{items: []item{it}, episodes: []string{it.last.Change.Episode}}
		switch i := slices.IndexFunc(causes, func(c cause.Cause) bool { return it.say != over && c.Has(it.last.Change.Episode) }); {
		case done[it.last.Change.Episode]:
			continue
		case i >= 0:
			s.kind, s.episodes = causes[i].Kind, causes[i].Episodes()
			s.items, _ = divided(live, func(o item) bool { return o.say != over && causes[i].Has(o.last.Change.Episode) })
			said := causes[i].Say(w.heardOf(live), causes[i].AirNow(w.airAround))
			s.said = &said
		case it.eased() && it.shared:
			s.items, _ = divided(live, func(o item) bool { return o.eased() && o.news.matter == it.news.matter })
			if len(s.items) > 1 {
				s.said = w.eased(s.items)
			}
		}
		for _, o := range s.items {
			done[o.last.Change.Episode] = true
		}
		all = append(all, s)
	}
	slices.SortStableFunc(all, func(a, b section) int { // what is at now, then what is shared
		return cmp.Or(b.first()-a.first(), cmp.Compare(b.items[0].weight(), a.items[0].weight()))
	})
	return all
}

// first is how much a section belongs to the beginning of a letter.
func (s section) first() (n int) {
	if slices.ContainsFunc(s.items, item.atNow) {
		n += 2
	}
	if s.kind != "" {
		n++
	}
	return n
}

// eased tells whether it is over because it got better.
func (it item) eased() bool { return it.say == over && it.last.Change.Ended == "" }

// heardOf tells what the reader of a letter knows of an episode already.
func (w writer) heardOf(live []item) func(episode string) cause.Heard {
	return func(episode string) cause.Heard {
		is := func(it item) bool { return it.last.Change.Episode == episode && it.say != still }
		switch {
		case !w.known[episode]:
			return cause.Unheard
		case slices.ContainsFunc(live, is):
			return cause.Worse
		}
		return cause.Before
	}
}

// title names a section as a heading does.
func (w writer) title(s section) string {
	switch {
	case s.said == nil:
		return w.place(s.items[0]) + ": " + w.words(s.items[0])
	case s.allStill():
		return "Still: " + s.said.Title
	}
	return s.said.Title
}

// shortTitle names a section as a subject has room for.
func (w writer) shortTitle(s section) string {
	if s.said == nil {
		return w.place(s.items[0]) + ": " + briefly(s.items[0])
	}
	return w.title(s)
}

func (s section) allStill() bool {
	return !slices.ContainsFunc(s.items, func(it item) bool { return it.say != still })
}

// over tells whether a section only says that something is over.
func (s section) over() bool { return s.items[0].say == over }

func (w writer) do(s section) string {
	if s.said != nil {
		return s.said.Do
	}
	return w.doing(s.items[0])
}

// several is the content about episodes that are told together.
func (w writer) several(ctx context.Context, items []item) content {
	const shown = 4 // of the first: how many get a picture and a command
	live, gone := livePart(items)
	all := w.sections(live)
	c := content{Subject: w.severalSubject(all, gone), First: w.severalFirst(all), Now: slices.ContainsFunc(live, item.atNow), Foot: w.foot()}
	var cautions []string
	for i, s := range all {
		p := w.ofSection(s)
		if p.Title == c.Subject || len(all) == 1 && p.Do == c.First {
			p.Do = ""
		}
		if !s.over() && i < shown {
			p.Acts = w.acts(ctx, s.items[0], s.episodes).Acts
			c.Pasted = append(c.Pasted, w.seenCommand(s))
			p.Pictures = w.pictures(ctx, s.items[0].last.Change)
		}
		var below part
		if s.said != nil {
			below.Pictures, p.Pictures = p.Pictures, nil // its list comes first
		}
		c.add(p, below)
		for _, it := range s.items {
			cautions = append(cautions, it.last.Change.Cautions...)
		}
		if s.said != nil && s.said.Caution != "" {
			cautions = append(cautions, s.said.Caution)
		}
	}
	past := part{Title: "Came and went before it could be told"}
	for _, it := range gone {
		past.List = append(past.List, w.cameWentLine(it))
	}
	c.add(past, part{Cautions: distinct(cautions)})
	return c
}

// ofSection is what a letter says of a section, but what can be pressed and seen.
func (w writer) ofSection(s section) part {
	p := part{Title: w.title(s)}
	if s.said == nil {
		it := s.items[0]
		if p.Lines = w.saying(it); it.say != over {
			p.Do, p.Rows = w.doing(it), w.foreseen(it.last.Change)
		}
		return p
	}
	p.Do, p.Lines, p.List = s.said.Do, slices.Clone(s.said.Lines), s.said.List
	oldest := slices.MinFunc(s.items, func(a, b item) int { return a.last.Change.At.Compare(b.last.Change.At) })
	if late := w.now.Sub(oldest.last.Change.At); late > lateAfter && !s.over() && !s.allStill() {
		p.Lines = slices.Insert(p.Lines, min(1, len(p.Lines)), fmt.Sprintf("The first of this was noticed %s ago and could not be told sooner.", farm.SayLong(late)))
	}
	return p
}

// seenCommand notes that the reader knows of all that a section names.
func (w writer) seenCommand(s section) [2]string {
	what := w.place(s.items[0]) + ": " + s.items[0].last.Change.Is()
	if n := len(s.episodes); n > 1 {
		what = fmt.Sprintf("all %d: %s", n, s.said.Title)
	}
	return [2]string{"I know (" + what + ")", w.command(append([]string{"seen"}, s.episodes...)...)}
}

// airAround is what the air around a bin was like of late.
func (w writer) airAround(bin string) []farm.Sample {
	if w.history == nil {
		return nil
	}
	return w.samples(context.Background(), bin, "", period{farm.Temperature, cause.AirPast, cause.AirStep})
}

// eased says that things which came of one cause are over.
func (w writer) eased(items []item) *cause.Said {
	var places, worst []string
	since, until := items[0].last.Change.Since, items[0].last.Change.At
	for _, it := range items {
		c := it.last.Change
		places = append(places, strings.TrimPrefix(w.place(it), "Probe "))
		if c.Since.Before(since) {
			since = c.Since
		}
		until = latest(until, c.At)
		if c.Peak != nil {
			worst = append(worst, fmt.Sprintf("%s %s", w.place(it), w.farm.Units.Say(c.JudgedBy(), *c.Peak)))
		}
	}
	said := &cause.Said{Do: nothingToDo}
	key := cause.KeyOf(&w.farm, nil, asStanding(items[0].last.Change))
	slices.Sort(places)
	title, all := key.SayOver(&w.farm, distinct(places))
	said.Title = title
	said.Lines = append(said.Lines, all+".",
		fmt.Sprintf("It lasted %s, from %s to %s.", farm.SayLong(until.Sub(since)), w.farm.Dates().Clock(since, w.now), w.farm.Dates().Clock(until, w.now)))
	if len(worst) > 0 {
		said.Lines = append(said.Lines, "At worst: "+strings.Join(worst, ", ")+".")
	}
	if left := w.stillRaised(key); len(left) > 0 {
		said.Lines = append(said.Lines, "Not over yet: "+farm.SayNames(left)+".")
		said.Do = fmt.Sprintf("Not over yet: %d more. See how it is there.", len(left))
	}
	return said
}

// stillRaised names where a cause goes on.
func (w writer) stillRaised(key cause.Key) (places []string) {
	for _, st := range w.view.Standing {
		if cause.KeyOf(&w.farm, nil, st) == key && w.known[st.Episode] {
			places = append(places, strings.TrimPrefix(w.place(item{last: farm.Owed{Change: farm.Change{Bin: st.Bin, Zone: st.Zone, Probe: st.Probe}}}), "Probe "))
		}
	}
	return distinct(places)
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

// severalSubject names everything that fits: one cause with what it shows in, one condition
// with its places, or place by place.
func (w writer) severalSubject(all []section, gone []item) string {
	prefix := ""
	if slices.ContainsFunc(all, func(s section) bool { return slices.ContainsFunc(s.items, item.atNow) }) {
		prefix = "Now: "
	}
	if len(all) == 0 {
		return fmt.Sprintf("%s: %s came and went", w.farm.Name, things(len(gone)))
	}
	var places, each []string
	for _, s := range all {
		places = append(places, w.place(s.items[0]))
		each = append(each, w.shortTitle(s))
	}
	switch {
	case alike(all):
		return oneLine(prefix+farm.Capital(briefly(all[0].items[0]))+": "+farm.SayList(distinct(places)), 160)
	case len(all) == 1:
		return oneLine(prefix+w.whole(all[0]), 160)
	}
	return oneLine(prefix+strings.Join(each, "; "), 160)
}

// whole is what a cause is in a line.
func (w writer) whole(s section) string {
	title := w.title(s)
	switch {
	case s.said.Brief == "":
		return title
	case strings.HasSuffix(title, "?"):
		return title + " " + s.said.Brief
	}
	return title + ". " + s.said.Brief
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

// alike tells whether all sections are of one episode each, and say the same.
func alike(all []section) bool {
	return !slices.ContainsFunc(all, func(s section) bool { return s.said != nil || briefly(s.items[0]) != briefly(all[0].items[0]) })
}

// severalFirst is what to do first: see to what the bins share, where they do.
func (w writer) severalFirst(all []section) string {
	of := func(k cause.Kind) bool {
		return slices.ContainsFunc(all, func(s section) bool { return s.kind == k })
	}
	switch {
	case of(cause.Cold) && of(cause.Quiet):
		return "Bins cool and probes fall silent at the same time: it looks like a power cut. See whether there is power, and heating."
	case !slices.ContainsFunc(all, func(s section) bool { return w.do(s) != nothingToDo }):
		return nothingToDo
	case len(all) == 1, alike(all), all[0].said != nil:
		return w.do(all[0])
	}
	first := all[0]
	return w.place(first.items[0]) + " first: " + w.do(first)
}
