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
	view    farm.View // zero when it is not known
	history History   // nil: no pictures
	now     time.Time
}

// newWriter makes a writer for one letter.
func newWriter(cfg Config, src Sources, now time.Time) writer {
	w := writer{farm: cfg.Farm, history: src.History, now: now}
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

// sheet puts a letter into words.
func (w writer) sheet(ctx context.Context, l letter) sheet {
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
