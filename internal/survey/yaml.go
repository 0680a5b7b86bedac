package survey

import (
	_ "embed"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/template"

	"binwatchd/internal/calibration"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/quantity"
	"binwatchd/internal/snippet"
)

//go:embed proposal.yaml.tmpl
var proposalText string

// proposal is parsed once; a broken template is a broken build, found by the first
// test.
var proposal = template.Must(template.New("proposal").Funcs(template.FuncMap{
	"count": farm.SayCount, "some": some, "word": snippet.Word, "points": calibration.Line, "duration": quantity.FormatDuration, "place": Aside.place,
}).Parse(proposalText))

// WriteYAML writes the proposal as a probes: section to paste. Without any
// probe it writes comments only.
func (p Proposal) WriteYAML(w io.Writer) error {
	if err := proposal.Execute(w, p); err != nil {
		return fmt.Errorf("write proposal: %w", err)
	}
	return nil
}

// WriteEntries writes the proposed entries alone, as they stand under probes: with two blanks
// before each name.
func (p Proposal) WriteEntries(w io.Writer) error {
	if err := proposal.ExecuteTemplate(w, "entries", p); err != nil {
		return fmt.Errorf("write proposal: %w", err)
	}
	return nil
}

// Places are the lines by which bins name what is proposed: one for each device, and one for
// each that may be the air of a room.
func (p Proposal) Places() (lines []string) {
	var devices []string
	of := map[string][]string{}
	for i := range p.Probes {
		probe := &p.Probes[i]
		for k, t := range probe.members {
			device := probe.deviceOf(t)
			switch {
			case probe.Measures == farm.Battery:
				continue
			case probe.IsAir():
				lines = append(lines, "ambient: "+snippet.Word(probe.Stands[k]))
				continue
			case of[device] == nil:
				devices = append(devices, device)
			}
			of[device] = append(of[device], snippet.Word(probe.Stands[k]))
		}
	}
	for i, device := range devices {
		if i == mostPlaces {
			lines = slices.Insert(lines, i, fmt.Sprintf("# and %d devices more", len(devices)-i))
			break
		}
		line := "probes: [" + strings.Join(of[device], ", ") + "] # " + snippet.Comment(shortened(device))
		lines = slices.Insert(lines, i, line)
	}
	return lines
}

// mostPlaces bounds the lines that a person is shown.
const mostPlaces = 20

// some lists the first names of many.
func some(names []string) string {
	const most = 12
	if more := len(names) - most; more > 0 {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), more)
	}
	return strings.Join(names, ", ")
}

func (a Aside) place() string {
	return snippet.Comment(strings.TrimSpace(shortened(a.Topic) + " " + shortened(a.Value)))
}

// Why says behind a key of a probe's entry why it is guessed.
func (p *Probe) Why(key string) string {
	if p.why[key] == "" {
		return ""
	}
	return " # guess: " + p.why[key]
}

// IsAir tells whether it may be a room's temperature: its names hold one of a
// place outside a bin.
func (p *Probe) IsAir() bool {
	names := name{words: split(p.Topic + "/" + p.Value)}
	return p.Measures == farm.Temperature && names.hasAny("air", "room", "ambient", "outside", "outdoor", "indoor")
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
	for i, l := range leaves {
		if i == most {
			parts = append(parts, "…")
			break
		}
		text := snippet.Comment(l.Text)
		if !math.IsNaN(l.Number) {
			text = strings.TrimSpace(text)
		}
		parts = append(parts, strings.TrimSpace(shortened(l.Pointer)+" "+text))
	}
	if len(parts) == 0 {
		return "nothing"
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
