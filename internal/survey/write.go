package survey

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"binwatchd/internal/calibration"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/quantity"
	"binwatchd/internal/snippet"
)

// WriteYAML writes the proposal as a probes: section to paste. Without any
// probe it writes comments only.
func (p Proposal) WriteYAML(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "# %s on %s.", capital(count(p.Messages, "message")), count(p.Topics, "topic"))
	if len(p.Probes) > 0 {
		b.WriteString(" What is marked as a guess is one: look at each.\nprobes:\n")
	} else {
		b.WriteString(" Nothing among them looks like a probe.\n")
	}
	for _, probe := range p.Probes {
		probe.write(&b)
	}
	p.writeAside(&b)
	if len(p.Probes) > 0 {
		b.WriteString("\n# Next: name the probes in the zones of bins, then try: binwatchd check --config FILE\n")
	}
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("write proposal: %w", err)
	}
	return nil
}

func (p Probe) write(b *strings.Builder) {
	fmt.Fprintf(b, "\n  # Heard: %s.\n", p.Heard)
	if p.ID != p.Stands[0] {
		fmt.Fprintf(b, "  # Stands for %s.\n", some(p.Stands))
	}
	if p.isAir() {
		b.WriteString("  # Perhaps the air of a room: then bins name it as their ambient.\n")
	}
	fmt.Fprintf(b, "  %s:\n", snippet.Word(p.ID))
	line := func(key, value, why string) {
		if why != "" {
			why = " # guess: " + why
		}
		fmt.Fprintf(b, "    %s: %s%s\n", key, value, why)
	}
	line("topic", snippet.Word(p.Topic), "")
	if p.Value != "" {
		line("value", snippet.Word(p.Value), "")
	}
	if p.Time != "" {
		line("time", snippet.Word(p.Time), p.why.time)
	}
	line("measures", string(p.Measures), p.why.measures)
	switch {
	case len(p.Calibration) > 0:
		line("calibration", calibration.Line(p.Calibration, p.Measures), p.why.calibration)
	default:
		line("unit", unitWord(p.Unit), p.why.unit)
	}
	if p.Low != "" {
		line("low", p.Low, p.why.low)
	}
	if len(p.Of) > 0 {
		line("of", "["+strings.Join(each(p.Of, snippet.Word), ", ")+"]", "the same device")
	}
	if p.Every > 0 {
		line("every", quantity.FormatDuration(p.Every), p.why.every)
	} else {
		b.WriteString("    # every: 10m, until it is heard twice\n")
	}
}

// airWords are names of places outside a bin.
var airWords = []string{"air", "room", "ambient", "outside", "outdoor", "indoor"}

func (p Probe) isAir() bool {
	return p.Measures == farm.Temperature && slices.ContainsFunc(split(p.Topic+"/"+p.Value), func(w string) bool { return slices.Contains(airWords, w) })
}

func (p Proposal) writeAside(b *strings.Builder) {
	if len(p.Aside) > 0 {
		b.WriteString("\n# Not proposed:\n")
	}
	for _, a := range p.Aside {
		fmt.Fprintf(b, "#   %s %s: %s\n", snippet.Comment(strings.TrimSpace(shortened(a.Topic)+" "+shortened(a.Value))), a.Heard, a.Why)
	}
	if p.Beyond > 0 {
		fmt.Fprintf(b, "#   and %s that there was no room for\n", count(p.Beyond, "more"))
	}
}

func unitWord(u farm.Unit) string {
	if u == farm.Percent { // YAML keeps a bare % for itself
		return strconv.Quote(string(u))
	}
	return string(u)
}

func whyEvery(gaps int, clock string) string {
	switch {
	case gaps == 0:
		return ""
	case clock != "":
		return "the middle of " + count(gaps, "gap") + " between time stamps"
	}
	return "the middle of " + count(gaps, "gap") + " between messages"
}

// mostNamed bounds how many probes a comment names.
const mostNamed = 12

func some(ids []string) string {
	if len(ids) <= mostNamed {
		return strings.Join(ids, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(ids[:mostNamed], ", "), len(ids)-mostNamed)
}

func sayLeaves(leaves []ingest.Leaf) string {
	const most = 6
	var parts []string
	for _, l := range leaves[:min(len(leaves), most)] {
		text := snippet.Comment(l.Text)
		if !math.IsNaN(l.Number) {
			text = strings.TrimSpace(text)
		}
		parts = append(parts, strings.TrimSpace(shortened(l.Pointer)+" "+text))
	}
	if len(leaves) > most {
		parts = append(parts, "…")
	}
	return snippet.Comment(strings.Join(parts, ", "))
}

// shortened cuts a text from outside for a line that a person reads.
func shortened(s string) string {
	const most = 100
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}

func each[T any](all []T, say func(T) string) []string {
	out := make([]string, len(all))
	for i, v := range all {
		out[i] = say(v)
	}
	return out
}

func count(n int, what string) string {
	if n == 1 || what == "more" {
		return fmt.Sprintf("%d %s", n, what)
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func capital(s string) string { return farm.Capital(s) }
