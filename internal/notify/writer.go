package notify

import (
	"context"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// A writer puts letters into words, from the change that is told and from how
// the farm stands at the time of writing.
type writer struct {
	farm    farm.Farm
	file    string    // of the configuration; "" when it is not known
	view    farm.View // zero when it is not known
	history History   // nil: no pictures
	now     time.Time
}

// newWriter makes a writer for one letter.
func newWriter(cfg Config, src Sources, now time.Time) writer {
	w := writer{farm: cfg.Farm, file: cfg.File, history: src.History, now: now}
	if src.Look != nil {
		w.view, _ = src.Look()
	}
	return w
}

// zone finds how a zone stands.
func (w writer) zone(bin, zone string) (farm.ZoneView, bool) {
	for _, b := range w.view.Bins {
		for _, z := range b.Zones {
			if z.Bin == bin && z.Zone == zone {
				return z, true
			}
		}
	}
	return farm.ZoneView{}, false
}

// standing finds a raised condition.
func (w writer) standing(episode string) (farm.Standing, bool) {
	i := slices.IndexFunc(w.view.Standing, func(st farm.Standing) bool { return st.Episode == episode })
	if i < 0 {
		return farm.Standing{}, false
	}
	return w.view.Standing[i], true
}

// current puts what still stands as it is at the time of writing: between a
// change and its letter lie seconds or, when a server was down, days, and what a
// person reads must go with the figures beside it.
func (w writer) current(l letter) letter {
	l.matters = slices.Clone(l.matters)
	for i := range l.matters {
		m := &l.matters[i]
		m.then = m.last.Change
		st, ok := w.standing(m.last.Change.Episode)
		if !ok || m.say == over || m.say == cameWent {
			continue
		}
		m.last.Change = asOfNow(m.last.Change, st)
		if m.say == lighter {
			m.last.Change.Text = "Better, though not right yet. " + m.last.Change.Text
		}
	}
	return l
}

// asOfNow gives a change the words and figures of how its condition stands.
func asOfNow(c farm.Change, st farm.Standing) farm.Change {
	c.Brief, c.Text, c.Forecast, c.Advice, c.Cautions = st.Brief, st.Text, st.Forecast, st.Advice, st.Cautions
	return c
}

// sheet puts a letter into words.
func (w writer) sheet(ctx context.Context, l letter) sheet {
	l = w.current(l)
	if len(l.matters) == 1 {
		return w.single(ctx, l.matters[0])
	}
	return w.several(ctx, l.matters)
}

// subject is what a phone shows of a single matter.
func (w writer) subject(m matter) string {
	s := place(&w.farm, m.last.Change) + ": " + w.matterWords(m)
	switch {
	case m.say == still:
		s = "Still: " + s
	case m.pressing():
		s = "Now: " + s
	}
	return oneLine(s, 120)
}
