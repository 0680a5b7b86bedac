package metrics

import (
	"bytes"
	"cmp"
	"maps"
	"slices"
	"strconv"
	"strings"

	"binwatchd/internal/farm"
)

// A metric is one name, what it says and by which labels its series differ.
type metric struct {
	name, help string
	labels     []string
	order      []int // of the labels, as they are written
}

func define(name, help string, labels ...string) *metric {
	m := &metric{name: "binwatch_" + name, help: help, labels: labels}
	for i := range labels {
		m.order = append(m.order, i)
	}
	slices.SortFunc(m.order, func(a, b int) int { return cmp.Compare(labels[a], labels[b]) })
	return m
}

const (
	kindGauge     = "gauge"
	kindCounter   = "counter"
	kindHistogram = "histogram"
)

// A text is what a scrape is answered with: Prometheus' text format 0.0.4, or
// OpenMetrics 1.0, which differ in few things. It is written straight from the look.
// There are twenty series a probe; to have the library register, check, sort and take
// apart each, and then write it, takes five times as long.
type text struct {
	open     bool // OpenMetrics
	families map[string]*family
}

// A family is the series of one metric; a metric of zones may have labels more for some.
type family struct {
	help, kind string
	lines      []byte
	shown      map[string]bool
}

func (t *text) family(m *metric, kind string) *family {
	f := t.families[m.name]
	if f == nil {
		f = &family{m.help, kind, nil, map[string]bool{}}
		t.families[m.name] = f
	}
	return f
}

// show adds a series. A second one with the same labels would spoil the whole answer, as
// would a value that is no number: they are left out.
func (t *text) show(m *metric, kind string, v float64, labels []string) {
	if !farm.Finite(v) {
		return
	}
	f := t.family(m, kind)
	from := len(f.lines)
	f.lines = append(f.lines, m.name...)
	sep := byte('{')
	for _, i := range m.order {
		f.lines = appendLabel(f.lines, sep, m.labels[i], labels[i])
		sep = ','
	}
	if sep == ',' {
		f.lines = append(f.lines, '}')
	}
	if f.shown[string(f.lines[from:])] {
		f.lines = f.lines[:from]
		return
	}
	f.shown[string(f.lines[from:])] = true
	f.lines = append(t.number(append(f.lines, ' '), v), '\n')
}

// escapes are those of both formats in the value of a label.
var escapes = strings.NewReplacer(`\`, `\\`, "\n", `\n`, `"`, `\"`)

func appendLabel(b []byte, sep byte, name, value string) []byte {
	b = append(append(b, sep), name...)
	b = append(append(b, `="`...), escapes.Replace(strings.ToValidUTF8(value, "\uFFFD"))...)
	return append(b, '"')
}

// number writes a value; OpenMetrics tells 1.0 from a count of 1.
func (t *text) number(b []byte, v float64) []byte {
	from := len(b)
	b = strconv.AppendFloat(b, v, 'g', -1, 64)
	if t.open && !bytes.ContainsAny(b[from:], "e.") {
		b = append(b, ".0"...)
	}
	return b
}

// delays shows how late readings arrive.
func (t *text) delays(m *metric, d farm.Delays) {
	f := t.family(m, kindHistogram)
	line := func(end, label, value string) {
		f.lines = append(append(f.lines, m.name...), end...)
		if label != "" {
			f.lines = append(appendLabel(f.lines, '{', "le", label), '}')
		}
		f.lines = append(append(append(f.lines, ' '), value...), '\n')
	}
	count := func(n int64) string { return strconv.FormatInt(n, 10) }
	for i, step := range farm.DelaySteps {
		line("_bucket", string(t.number(nil, step.Seconds())), count(d.Within[i]))
	}
	line("_bucket", "+Inf", count(d.Count))
	line("_sum", "", string(t.number(nil, float64(d.SumMs)/1000)))
	line("_count", "", count(d.Count))
}

// writeTo writes all families by name.
func (t *text) writeTo(w *bytes.Buffer) {
	for _, name := range slices.Sorted(maps.Keys(t.families)) {
		f := t.families[name]
		if t.open && f.kind == kindCounter {
			name = strings.TrimSuffix(name, "_total")
		}
		w.WriteString("# HELP " + name + " " + f.help + "\n# TYPE " + name + " " + f.kind + "\n")
		w.Write(f.lines)
	}
}
