package rounds

import (
	"fmt"
	"slices"

	"binwatchd/internal/farm"
)

// bring is what one line wants carried along, beside water and feed, which
// are summed up for the whole walk.
func bring(st farm.Standing) []string {
	switch st.Condition {
	case farm.SiftReady, farm.SiftPassing:
		return []string{"a screen", "a pan", "a mask"}
	case farm.Hatching:
		return []string{"a little fine feed"}
	case farm.BatteryLow:
		return []string{"a fresh battery"}
	}
	return nil
}

// A load sums up what is to be carried on the walk.
type load struct {
	units                     farm.Units
	waterL, feedKg, beddingKg float64
	water, feed, bedding      bool
	things                    []string
}

func (l *load) add(st farm.Standing) {
	l.things = appendNew(l.things, bring(st)...)
	a := st.Advice
	if a == nil {
		a = &farm.Advice{}
	}
	if a.First {
		return
	}
	switch st.Condition {
	case farm.TooDry, farm.Drying:
		l.water, l.waterL = true, l.waterL+a.VisitLitres
	case farm.TooWet:
		l.bedding, l.beddingKg = true, l.beddingKg+a.BeddingKg
	case farm.FeedDue:
		l.feed, l.feedKg, l.bedding = true, l.feedKg+a.FeedKg, true
	}
}

func (l *load) list() []string {
	var out []string
	if l.water {
		out = append(out, amount(l.waterL, l.units.Volume, "water"))
	}
	if l.feed {
		out = append(out, amount(l.feedKg, l.units.Mass, "feed"))
	}
	if l.bedding {
		out = append(out, amount(l.beddingKg, l.units.Mass, "dry bedding"))
	}
	return slices.Concat(out, l.things)
}

// amount says how much of what, or just what when nobody knows how much.
func amount(v float64, say func(float64) string, what string) string {
	if v <= 0 {
		return what
	}
	return fmt.Sprintf("%s of %s", say(v), what)
}
