package calibration

import (
	"fmt"
	"strings"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
	"binwatchd/internal/snippet"
)

// Entry writes a probe's whole entry with its new calibration, to paste below
// probes: in place of the old one. It is whole because a probe that shared an
// entry with others needs one of its own once it has points of its own.
func Entry(p farm.Probe, points []farm.Point) string {
	var b strings.Builder
	fmt.Fprintf(&b, "probes:\n  %s:\n", snippet.Word(p.ID))
	line := func(key, value string) { fmt.Fprintf(&b, "    %s: %s\n", key, value) }
	line("topic", snippet.Word(p.Topic))
	if p.Value != "" {
		line("value", snippet.Word(p.Value))
	}
	if p.Time != "" {
		line("time", snippet.Word(p.Time))
	}
	line("measures", string(p.Measures))
	if len(points) == 1 { // it moves the unit's own reading
		line("unit", fmt.Sprintf("%q", string(p.Unit)))
	}
	line("every", quantity.FormatDuration(p.Every))
	if p.Low > 0 {
		line("low", snippet.Number(p.Low)+p.Row().Units[0].Suffix)
	}
	if len(p.Of) > 0 {
		of := make([]string, len(p.Of))
		for i, id := range p.Of {
			of[i] = snippet.Word(id)
		}
		line("of", "["+strings.Join(of, ", ")+"]")
	}
	line("calibration", Line(points, p.Measures))
	return b.String()
}
