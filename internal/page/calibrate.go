package page

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"binwatchd/internal/calibration"
	"binwatchd/internal/farm"
	"binwatchd/internal/snippet"
)

// A calibrationForm is the form that turns samples into lines for the
// configuration: for each sample what the probe said raw, and the truth, either
// told or weighed. It keeps nothing; the keeper pastes the lines.
type calibrationForm struct {
	Moisture bool // weighing makes sense
	Rows     []calibrationRow
	YAML     string
	Notes    []string
	Wrong    string
}

// A calibrationRow is what was typed into one row.
type calibrationRow struct {
	N                         int
	Raw, Truth, Wet, Dry, Tin string
}

const calibrationRows = 4

// calibrate reads the form's rows and, when there are any, proposes the lines.
func (v *visit) calibrate(conf farm.Probe, pv farm.ProbeView) calibrationForm {
	c := calibrationForm{Moisture: conf.Measures == farm.Moisture}
	var filled []calibrationRow
	for n := 1; n <= calibrationRows; n++ {
		at := func(name string) string { return v.in[name+strconv.Itoa(n)] }
		row := calibrationRow{n, at("raw"), at("truth"), at("wet"), at("dry"), at("tin")}
		if c.Rows = append(c.Rows, row); row != (calibrationRow{N: n}) {
			filled = append(filled, row)
		}
	}
	if len(filled) == 0 {
		if pv.Raw != nil {
			c.Rows[0].Raw = short(*pv.Raw)
		}
		return c
	}
	points, err := v.calibrationPoints(filled, conf)
	if err != nil {
		c.Wrong = sentence(err.Error())
		return c
	}
	line := calibration.Line(points, conf.Measures)
	c.YAML = fmt.Sprintf("probes:\n  %s:\n    calibration: %s\n", snippet.Word(conf.ID), line)
	if c.Moisture {
		c.Notes = calibrationNotes(points)
	}
	return c
}

// calibrationPoints makes points of the filled rows, by rising raw value.
func (v *visit) calibrationPoints(rows []calibrationRow, conf farm.Probe) ([]farm.Point, error) {
	var points []farm.Point
	for _, row := range rows {
		raw, err := typedNumber(row.Raw)
		if err != nil {
			return nil, fmt.Errorf("row %d, raw: %w", row.N, err)
		}
		truth, err := v.rowTruth(row, conf)
		if err != nil {
			return nil, fmt.Errorf("row %d: %w", row.N, err)
		}
		points = append(points, farm.Point{Raw: raw, Value: truth})
	}
	slices.SortFunc(points, func(a, b farm.Point) int { return cmp.Compare(a.Raw, b.Raw) })
	return points, oneWay(points)
}

// oneWay refuses points through which no honest calibration goes.
func oneWay(points []farm.Point) error {
	if len(points) < 2 {
		return errors.New("two samples at least are needed, a low and a high one")
	}
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if a.Raw == b.Raw {
			return fmt.Errorf("two samples have the same raw value %s: one of them is mistaken", short(a.Raw))
		}
		if rising := points[1].Value > points[0].Value; (b.Value > a.Value) != rising || b.Value == a.Value {
			return fmt.Errorf("between raw %s and %s the true value turns back: one of the samples is mistaken",
				short(a.Raw), short(b.Raw))
		}
	}
	return nil
}

// rowTruth is a row's true value in inner units: as told, or by weighing.
func (v *visit) rowTruth(row calibrationRow, conf farm.Probe) (float64, error) {
	weighed := row.Wet != "" || row.Dry != "" || row.Tin != ""
	switch {
	case row.Truth != "" && weighed:
		return 0, errors.New("give the true value or the weights, not both")
	case weighed && conf.Measures != farm.Moisture:
		return 0, errors.New("only moisture can be weighed")
	case weighed:
		return weighedMoisture(row)
	case row.Truth == "":
		return 0, errors.New("the true value is missing")
	}
	told, err := typedNumber(strings.TrimSuffix(row.Truth, "%"))
	q, as := conf.Row(), conf.Row().Written(v.units)
	if told = as.In.Inner(told); err == nil && conf.Measures != farm.Temperature && !q.Range.Contains(told) {
		err = fmt.Errorf("%s lies between %s and %s", q.Noun, as.Number(q.Range.Low), as.String(q.Range.High))
	}
	return told, err
}

// weighedMoisture is water in % of the fresh mass, from the weights typed.
func weighedMoisture(row calibrationRow) (float64, error) {
	wet, errWet := typedNumber(row.Wet)
	dry, errDry := typedNumber(row.Dry)
	tin, errTin := typedNumber(cmp.Or(row.Tin, "0"))
	if errWet != nil || errDry != nil || errTin != nil {
		return 0, errors.New("weighing needs the sample wet and dry, each with its tin, and the tin alone")
	}
	w := calibration.Weighing{Wet: wet, Dry: dry, Tin: tin}
	return w.Moisture(), w.Check()
}

func typedNumber(s string) (float64, error) {
	s = strings.Replace(strings.TrimSpace(s), ",", ".", 1)
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || math.Abs(v) > 1e9 {
		return 0, fmt.Errorf("%q is no number", s)
	}
	return v, nil
}

// calibrationNotes say what points of moisture are worth.
func calibrationNotes(points []farm.Point) []string {
	first, last := points[0].Value, points[len(points)-1].Value
	low, high := min(first, last), max(first, last)
	notes := []string{fmt.Sprintf("These samples span %s to %s %%; outside that the line is only drawn on.", short(low), short(high))}
	if high-low < 20 {
		notes = append(notes,
			"They lie close together: a small error in one tilts everything. A sample much drier or wetter would help.")
	}
	// Nagahage, Nagahage & Fujino 2019, Agriculture 9:141: errors of 0.05 to
	// 0.09 m³/m³ even where calibrated by soil.
	return append(notes, "A cheap probe strays by five to nine points even so; weigh it again when it is moved.")
}
