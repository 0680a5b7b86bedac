package notify

import (
	"strings"

	"binwatchd/internal/farm"
)

// pushLines is how many things a push names before it counts the rest.
const pushLines = 5

// short is a letter as a push: what, where and what to do, and nothing that a
// lock screen would cut off.
func (w writer) short(l letter) string {
	l = w.current(l)
	if len(l.matters) == 1 {
		return w.shortSingle(l.matters[0])
	}
	live, gone := livePart(l.matters)
	lines := []string{w.severalSubject(live, gone)}
	if cause := w.sharedCause(live); cause != "" {
		lines = append(lines, cause)
	}
	for i, m := range live {
		if i == pushLines {
			lines = append(lines, "and "+things(len(live)-i)+" more")
			break
		}
		line := "• " + place(&w.farm, m.last.Change) + ": " + w.matterWords(m)
		if m.say != over {
			line += ". " + w.doing(m)
		}
		lines = append(lines, line)
	}
	if len(gone) > 0 && len(live) > 0 {
		lines = append(lines, capital(things(len(gone)))+" came and went before it could be told.")
	}
	return strings.Join(lines, "\n")
}

func (w writer) shortSingle(m matter) string {
	lines := []string{w.subject(m)}
	switch m.say {
	case cameWent:
		return lines[0] + "\n" + w.cameWentLine(m)
	case over:
		lines = append(lines, w.howItWas(m.last.Change))
	default:
		lines = append(lines, w.doing(m), w.soonest(m.last.Change))
	}
	return strings.TrimSpace(strings.Join(lines, "\n"))
}

// soonest is the near end of a forecast's interval, when the subject says only
// its middle.
func (w writer) soonest(c farm.Change) string {
	if c.Forecast == nil || c.Forecast.Earliest.IsZero() {
		return ""
	}
	return "It may be as soon as " + bare(w.time(c.Forecast.Earliest)) + "."
}
