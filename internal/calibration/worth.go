package calibration

import (
	"fmt"
	"math"
	"strings"

	"binwatchd/internal/farm"
	"binwatchd/internal/snippet"
)

// Errors of cheap capacitive probes even when calibrated, water per volume:
// Nagahage, Nagahage & Fujino 2019, Agriculture 9:141.
const cheapLow, cheapHigh = 0.05, 0.09 // m³/m³

// dryPerLitre is castings' dry matter, kg/L, where nobody has weighed a litre:
// 0.2 to 0.5 from memory.
const dryPerLitre = 0.25

// CheapProbe is how far a cheap capacitive probe may stray near a moisture, in
// points of % of fresh mass. What is published is water per volume; with dry
// matter of a given density in kg/L, M = θ/(θ+ρ), so dM/dθ = (1−M)²/ρ.
func CheapProbe(pct, dryKgPerL float64) (low, high float64) {
	part := (1 - pct/100) * (1 - pct/100) / dryKgPerL
	return 100 * cheapLow * part, 100 * cheapHigh * part
}

// closeTogether is a span of moisture, in points, under which a small error in
// one sample tilts the whole line. Common practice, no source.
const closeTogether = 20

// Worth says in sentences what a curve of moisture is worth; for other
// quantities, how far its samples spread.
func (c Curve) Worth(q farm.Quantity) []string {
	var out []string
	if n := len(c.Points); n > 1 {
		low, high := c.Points[0].Value, c.Points[n-1].Value
		out = append(out, fmt.Sprintf("The samples span %s to %s; outside that the line is only drawn on.",
			say(min(low, high), q), say(max(low, high), q)))
	}
	if math.IsNaN(c.Spread) {
		out = append(out, "How far the samples spread can't be told: each has a point of its own. One more in between would tell.")
	} else {
		out = append(out, fmt.Sprintf("The samples spread by %s%s around the line.", tenths(c.Spread), q.Row().Step))
	}
	if q == farm.Moisture {
		out = append(out, c.moistureWorth()...)
	}
	return out
}

func (c Curve) moistureWorth() []string {
	first, last := c.Points[0].Value, c.Points[len(c.Points)-1].Value
	middle := (first + last) / 2
	spread := c.Spread
	if math.IsNaN(spread) {
		spread = 0
	}
	low, high := CheapProbe(middle, dryPerLitre)
	out := []string{fmt.Sprintf(
		"Expect an error of %s to %s points near %s %%: a cheap probe strays by 0.05 to 0.09 of the volume even when calibrated (Nagahage et al. 2019), in stuff of %s kg dry per litre (assumed).",
		tenths(math.Hypot(spread, low)), tenths(math.Hypot(spread, high)), snippet.Number(math.Round(middle)), snippet.Number(dryPerLitre))}
	if len(c.Points) > 1 && math.Abs(last-first) < closeTogether {
		out = append(out, "The samples lie close together: a small error in one tilts everything. One much drier or wetter would help.")
	}
	return out
}

func tenths(v float64) string { return snippet.Number(math.Round(v*10) / 10) }

// say writes a value as the configuration has it.
func say(v float64, q farm.Quantity) string {
	row := q.Row()
	return snippet.Number(math.Round(v*row.Round)/row.Round) + row.Units[0].Suffix
}

// Line writes points as the value of a probe's calibration: key.
func Line(points []farm.Point, q farm.Quantity) string {
	parts := make([]string, len(points))
	for i, p := range points {
		parts[i] = fmt.Sprintf("{raw: %s, %s: %s}", snippet.Number(p.Raw), q, say(p.Value, q))
	}
	return "[" + strings.Join(parts, ", ") + "]"
}
