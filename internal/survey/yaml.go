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
	fmt.Fprintf(&b, "# %s on %s.", count(p.Messages, "message"), count(p.Topics, "topic"))
	if len(p.Probes) > 0 {
		b.WriteString(" What is marked as a guess is one: look at each.\nprobes:\n")
	} else {
		b.WriteString(" Nothing among them looks like a probe.\n")
	}
	for _, probe := range p.Probes {
		probe.write(&b)
	}
	if len(p.Aside) > 0 {
		b.WriteString("\n# Not proposed:\n")
	}
	for _, a := range p.Aside {
		what := strings.TrimSpace(shortened(a.Topic) + " " + shortened(a.Value))
		fmt.Fprintf(&b, "#   %s %s: %s\n", snippet.Comment(what), a.Heard, a.Why)
	}
	if p.Beyond > 0 {
		fmt.Fprintf(&b, "#   and %d more that there was no room for\n", p.Beyond)
	}
	if len(p.Probes) > 0 {
		b.WriteString("\n# Next: name the probes in the zones of bins, then try: binwatchd check --config FILE\n")
	}
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("write proposal: %w", err)
	}
	return nil
}

// mostNamed bounds how many probes a comment names.
const mostNamed = 12

func (p *Probe) write(b *strings.Builder) {
	fmt.Fprintf(b, "\n  # Heard: %s.\n", p.said())
	if named := min(len(p.Stands), mostNamed); p.ID != p.Stands[0] {
		fmt.Fprintf(b, "  # Stands for %s", strings.Join(p.Stands[:named], ", "))
		if more := len(p.Stands) - named; more > 0 {
			fmt.Fprintf(b, " and %d more", more)
		}
		b.WriteString(".\n")
	}
	if p.isAir() {
		b.WriteString("  # Perhaps the air of a room: then bins name it as their ambient.\n")
	}
	fmt.Fprintf(b, "  %s:\n", snippet.Word(p.ID))
	line := func(key, value, why string) {
		if why != "" {
			why = " # guess: " + why
		}
		if value != "" {
			fmt.Fprintf(b, "    %s: %s%s\n", key, value, why)
		}
	}
	word := func(s string) string {
		if s == "" {
			return ""
		}
		return snippet.Word(s)
	}
	line("topic", snippet.Word(p.Topic), "")
	line("value", word(p.Value), "")
	line("time", word(p.Time), p.why.time)
	line("measures", string(p.Measures), p.why.measures)
	switch {
	case len(p.Calibration) > 0:
		line("calibration", calibration.Line(p.Calibration, p.Measures), p.why.unit)
	case p.Unit == farm.Percent: // YAML keeps a bare % for itself
		line("unit", strconv.Quote(string(p.Unit)), p.why.unit)
	default:
		line("unit", string(p.Unit), p.why.unit)
	}
	line("low", p.Low, p.why.low)
	if len(p.Of) > 0 {
		of := make([]string, len(p.Of))
		for i, id := range p.Of {
			of[i] = snippet.Word(id)
		}
		line("of", "["+strings.Join(of, ", ")+"]", "the same device")
	}
	if p.Every > 0 {
		line("every", quantity.FormatDuration(p.Every), p.why.every)
	} else {
		b.WriteString("    # every: 10m, until it is heard twice\n")
	}
}

// airWords are names of places outside a bin.
var airWords = []string{"air", "room", "ambient", "outside", "outdoor", "indoor"}

func (p *Probe) isAir() bool {
	return p.Measures == farm.Temperature && slices.ContainsFunc(split(p.Topic+"/"+p.Value), func(w string) bool {
		return slices.Contains(airWords, w)
	})
}

// said is what was heard of a probe, and how often.
func (p *Probe) said() string {
	messages, retained := 0, 0
	for _, t := range p.members {
		messages += t.messages
		retained += t.retained
	}
	s := span(p.heard) + ", " + count(messages, "message")
	if len(p.members) > 1 {
		s += " on " + count(len(p.members), "topic")
	}
	switch {
	case retained == messages:
		s += ", all of them stored by the broker: their age is unknown"
	case retained > 0:
		s += ", " + strconv.Itoa(retained) + " of them stored by the broker"
	}
	if p.heard.faults > 0 {
		s += ", and " + count(p.heard.faults, "fault code")
	}
	return s
}

// span says what numbers were heard: "18.5 to 21.25", "40".
func span(v *value) string {
	switch {
	case v.sound == 0:
		return quoted(v.text)
	case v.low == v.high:
		return snippet.Number(v.low)
	}
	return snippet.Number(v.low) + " to " + snippet.Number(v.high)
}

// sayLeaves says what a payload holds, in a line.
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
	switch {
	case len(leaves) == 0:
		return "nothing"
	case len(leaves) > most:
		parts = append(parts, "…")
	}
	return snippet.Comment(strings.Join(parts, ", "))
}

// quoted makes a text from outside fit for a comment.
func quoted(s string) string { return `"` + strings.TrimSpace(snippet.Comment(s)) + `"` }

// shortened cuts a text from outside for a line that a person reads.
func shortened(s string) string {
	const most = 100
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
