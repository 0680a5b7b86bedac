package ahead

import (
	"fmt"
	"math"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// Needs holds what is wanted by a day against the castings account. Each takes what it
// wants before the next is looked at.
func Needs(b *Book) []farm.NeedView {
	if len(b.Farm.Needs) == 0 {
		return nil
	}
	last := b.View.At
	for _, n := range b.Farm.Needs {
		if n.By.After(last) {
			last = n.By
		}
	}
	a := newAccount(b, last)
	return a.needs()
}

func (a *account) needs() (out []farm.NeedView) {
	gone := 0.0
	for _, n := range a.Farm.Needs {
		there, _ := a.by(n.By)
		v := farm.NeedView{
			WantedL: n.CastingsL, By: n.By, For: n.For, StoredL: max(0, a.stored-gone),
			ExpectedL: max(0, there.Litres-gone), LowL: max(0, there.LowL-gone), HighL: max(0, there.HighL-gone),
		}
		v.Text = a.sayNeed(v, gone)
		if n.By.After(a.now) {
			gone += min(v.WantedL, v.ExpectedL)
		}
		out = append(out, v)
	}
	return out
}

// sayNeed says what there will be and what to do about it.
func (a *account) sayNeed(v farm.NeedView, gone float64) string {
	u, by := a.Farm.Units, a.Farm.Dates().Day(v.By, a.now)
	wanted, reason := u.Volume(v.WantedL), forWhat(v)
	switch left := v.By.Sub(a.now); {
	case left <= 0 && v.StoredL >= v.WantedL, v.StoredL*husbandry.Kept(left.Hours()/24) >= v.WantedL:
		return fmt.Sprintf("%s of castings are kept, and %s are wanted by %s%s: enough.", farm.Capital(u.Volume(v.StoredL)), wanted, by, reason)
	case left <= 0:
		return fmt.Sprintf("%s of castings were wanted by %s%s; %s are kept, %s short.", farm.Capital(wanted), by, reason, u.Volume(v.StoredL), u.Volume(v.WantedL-v.StoredL))
	}
	said := fmt.Sprintf("%s of castings by %s (%s), of %s wanted%s", farm.Capital(u.Volume(v.ExpectedL)), by, u.VolumeRange(v.LowL, v.HighL), strings.TrimPrefix(wanted, "about "), reason)
	ways := a.ways(v, gone)
	switch enough := v.ExpectedL >= v.WantedL; {
	case enough && a.pace > 0:
		return said + ": enough at the pace so far."
	case enough && len(ways) > 0:
		return said + ": enough, if you " + ways[0] + "."
	case len(ways) > 0:
		return said + ": " + strings.Join(ways, ", or ") + "."
	}
	return fmt.Sprintf("%s: %s short, and no more can be ready by then.", said, u.Volume(v.WantedL-v.ExpectedL))
}

// forWhat says what castings are wanted for, where that was told.
func forWhat(v farm.NeedView) string {
	if v.For == "" {
		return ""
	}
	return " for " + v.For
}

// ways are what can be done for there to be enough, each as a command.
func (a *account) ways(v farm.NeedView, gone float64) (out []string) {
	u, weeks := a.Farm.Units, v.By.Sub(a.now).Hours()/24/7
	missing := v.WantedL + gone - a.stored*husbandry.Kept(weeks*7)
	supply := a.supply(v.By).litres
	first := a.opens(v.By)
	const tooLittle = ", which gives %s more and is not enough"
	if from, faster := v.By.Sub(first).Hours()/24/7, v.StoredL+supply-v.ExpectedL; from > 0 && supply >= missing {
		out = append(out, a.sift(missing/from, first))
	} else if from > 0 && a.pace > 0 && faster >= 1 {
		out = append(out, a.sift(supply/from, first)+fmt.Sprintf(tooLittle, u.Volume(faster)))
	}
	best, start := a.secondEnd(v.By)
	if best == nil || v.ExpectedL >= v.WantedL {
		return out
	}
	if more := best.ripe(a.now, start); more >= 1 {
		which := "an end"
		if len(best.ends) > 0 {
			which = "a second end"
		}
		way := fmt.Sprintf("let %s of %s dry from %s", which, farm.Capital(best.Name), a.Farm.Dates().Day(start, a.now))
		if supply+more < missing {
			way += fmt.Sprintf(tooLittle, u.Volume(more))
		}
		out = append(out, way)
	}
	return out
}

// secondEnd is the bed of which an end can still be left to dry for castings by a day, and
// the last day to begin; nil where that is past.
func (a *account) secondEnd(by time.Time) (best *bed, start time.Time) {
	start = by.Add(-days(husbandry.DriesInDays) - 7*day)
	if start.Before(a.now) {
		return nil, start
	}
	for i := range a.beds {
		c := &a.beds[i]
		if hasAim(c.Bin, farm.Living) && !a.direct(c) && (best == nil || c.ripe(a.now, start) > best.ripe(a.now, start)) {
			best = c
		}
	}
	if best != nil && best.ripe(a.now, start) < 1 {
		best = nil
	}
	return best, start
}

// opens is when something can first be sifted; the need's day where nothing can.
func (a *account) opens(by time.Time) time.Time {
	first := by
	for i := range a.beds {
		c := &a.beds[i]
		for _, e := range c.ends {
			if e.litres > 0 && e.opens.Before(first) {
				first = e.opens
			}
		}
		if a.direct(c) {
			first = a.now
		}
	}
	return first
}

// sift says how much is to be sifted in a week from a day on, in the keeper's usual lots
// where they are known.
func (a *account) sift(litres float64, from time.Time) string {
	amount, often := a.Farm.Units.Volume(litres), "a week"
	if lots := litres / a.lot; a.lot > 0 {
		switch {
		case lots <= 0.5:
			amount, often = a.lots(a.lot), fmt.Sprintf("every %d weeks", int(1/lots))
		case lots < 1.05:
			amount = a.lots(a.lot)
		case a.pan() > 0 || lots <= 12:
			amount = a.lots(a.lot * math.Ceil(lots-0.05))
		}
	}
	if from.Sub(a.now) < day {
		return fmt.Sprintf("sift %s %s from now", amount, often)
	}
	return fmt.Sprintf("sift %s %s from %s", amount, often, a.Farm.Dates().Day(from, a.now))
}
