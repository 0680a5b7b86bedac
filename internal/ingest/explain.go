package ingest

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// Explain says in a few lines what a message would become: which probes it
// feeds, what they would read, and what is wrong with it. It knows no time of
// arrival and no earlier readings, so it judges neither a device's clock nor
// spikes and the like.
func (d *Decoder) Explain(topic string, payload []byte) string {
	var w strings.Builder
	fmt.Fprintf(&w, "%s %s\n", topic, quote(payload))
	if rest, ok := strings.CutPrefix(topic, d.prefix); ok {
		if got, ok := d.command(rest, payload, time.Time{}); ok {
			explainCommand(&w, got)
			return w.String()
		}
	}
	d.explainReadings(&w, d.claim(topic), topic, payload)
	return w.String()
}

func (d *Decoder) explainReadings(w *strings.Builder, c *claim, topic string, payload []byte) {
	if len(c.parts) == 0 {
		fmt.Fprintf(w, "  rejected (%s): no probe has the topic %s\n", Unclaimed, topic)
		return
	}
	bad := d.sound(c, payload)
	for _, p := range c.parts {
		r := bad
		if r.Reason == "" {
			if _, ok := d.found[p.value].number(); !ok {
				r = d.unread(p, d.found[p.value])
			}
		}
		if r.Reason != "" {
			fmt.Fprintf(w, "  %s: rejected (%s): %s\n", d.farm.Probes[p.probe].ID, r.Reason, r.Detail)
			continue
		}
		fmt.Fprintf(w, "  %s\n", d.explainPart(p))
	}
}

// explainPart says what one probe would read: "bed-t: 61.7 F is 16.5 °C".
func (d *Decoder) explainPart(p part) string {
	probe := d.farm.Probes[p.probe]
	raw, _ := d.found[p.value].number()
	value := d.scales[p.probe].value(raw)
	s := fmt.Sprintf("%s: %s %s is %s", probe.ID, spell(raw), probe.Unit, d.spellValue(probe, value))
	if doubt := plainDoubt(probe, value); doubt != farm.NoDoubt {
		s += ", not believed: " + doubt.String()
	}
	if p.time < 0 {
		return s
	}
	switch at, given, ok := d.found[p.time].stamp(); {
	case !given:
		return s + ", without a time of its own"
	case !ok:
		return s + ", with a time that can't be read: " + quote(d.found[p.time].raw)
	default:
		return s + ", taken at " + at.Format(time.RFC3339) + " by its own clock"
	}
}

func (d *Decoder) spellValue(p farm.Probe, v float64) string {
	switch {
	case !farm.Finite(v):
		return "no number"
	case p.Measures == farm.Temperature:
		return d.farm.Units.Temperature(v)
	case p.Measures == farm.Battery && p.Unit != farm.Percent && p.Unit != farm.Ratio:
		return spell(v) + " V"
	}
	return spell(v) + " %"
}

func explainCommand(w *strings.Builder, got Decoded) {
	switch {
	case len(got.Rejected) > 0:
		fmt.Fprintf(w, "  rejected (%s): %s\n", got.Rejected[0].Reason, got.Rejected[0].Detail)
	case got.Jot != nil:
		fmt.Fprintf(w, "  a jot: %s %s\n", spot(got.Jot.Bin, got.Jot.Zone), spellJot(*got.Jot))
	case got.Hush != nil:
		what := string(got.Hush.Condition)
		if what == "" {
			what = "everything"
		}
		long := got.Hush.Until.Sub(time.Time{})
		fmt.Fprintf(w, "  a hush: quiet about %s at %s for %s\n", what, spot(got.Hush.Bin, got.Hush.Zone), farm.SayLong(long))
	case got.Seen != nil:
		fmt.Fprintf(w, "  seen: the keeper knows of %s\n", got.Seen.Episode)
	}
}

func spellJot(j farm.Jot) string {
	s := string(j.What)
	if j.Kg > 0 {
		s += " " + spell(j.Kg) + " kg"
	}
	if j.Litres > 0 {
		s += " " + spell(j.Litres) + " L"
	}
	if j.Of != "" {
		s += " of " + j.Of
	}
	if j.To != "" {
		s += " to " + j.To
	}
	return s
}

func spot(bin, zone string) string {
	if zone == "" {
		return bin
	}
	return bin + "/" + zone
}

func spell(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
