package main

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"strconv"
	"strings"

	"binwatchd/internal/calibration"
	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
	"binwatchd/internal/snippet"
)

func calibrateWork(fs *flag.FlagSet) work {
	var said []saidSample
	for how, about := range map[string]string{
		"weighed": "`RAW=WET,DRY,TIN`: weights of a sample fresh and dried, both in its tin, and of the tin",
		"mark":    "`RAW=VALUE`: a value you know, such as 12% or 0C",
		"feel":    "`RAW=WORD` by hand (" + calibration.FeelSource + "): " + feelings(),
	} {
		fs.Func(how, about, func(text string) error { said = append(said, saidSample{how, text}); return nil })
	}
	wanted := func(words []string) error {
		return cmp.Or(
			misuseIf(len(words) != 1, "wants the name of one probe"),
			misuseIf(len(said) == 0, "wants at least one sample: --weighed, --mark or --feel"),
		)
	}
	return work{words: wanted, run: func(ctx context.Context, c *call) error { return calibrate(ctx, c.cfg, c.words[0], said, c.streams) }}
}

// A saidSample is one sample as it stands on the command line.
type saidSample struct{ how, text string }

func feelings() string {
	return wordsOf(calibration.Feelings(), func(f calibration.Feeling) string { return f.Word })
}

// wordsOf lists what some things are called.
func wordsOf[T any](all []T, name func(T) string) string {
	var words []string
	for _, one := range all {
		words = append(words, name(one))
	}
	return strings.Join(words, ", ")
}

func calibrate(ctx context.Context, cfg *config.Config, id string, said []saidSample, s *streams) error {
	p, ok := cfg.Farm.ProbeByID(id)
	if !ok {
		return fmt.Errorf("there is no probe %q; known are %s", id, wordsOf(cfg.Farm.Probes, func(p farm.Probe) string { return p.ID }))
	}
	samples, err := readSamples(p, said, func() (float64, error) { return newestRaw(ctx, cfg, id, s) })
	if err != nil {
		return err
	}
	if len(samples) == 1 && p.Unit == farm.RawUnit {
		return errors.New("two samples at least are needed, a dry and a wet one: one cannot tell what raw numbers mean")
	}
	curve, err := calibration.Fit(samples, p.Measures)
	if err != nil {
		return err
	}
	for _, sample := range samples {
		fmt.Fprintf(s.out, "# raw %s: %s\n", snippet.Number(sample.Raw), sample.From)
	}
	for _, line := range curve.Worth(p.Measures) {
		fmt.Fprintf(s.out, "# %s\n", line)
	}
	_, err = fmt.Fprintf(s.out, "# In place of the entry of %s, or beside the one that it shares with others:\n%s", p.ID, calibration.Entry(p, curve.Points))
	return err
}

// readSamples makes samples of what was said. Newest gives the probe's newest
// raw number; only one sample can be where the probe is now.
func readSamples(p farm.Probe, said []saidSample, newest func() (float64, error)) ([]calibration.Sample, error) {
	var out []calibration.Sample
	asked := false
	for _, one := range said {
		raw, truth, ok := strings.Cut(one.text, "=")
		if !ok {
			return nil, misusef("--%s %s: wants RAW, an equals sign and what is true", one.how, one.text)
		}
		sample, err := readTruth(p, one.how, truth)
		if err == nil && raw != "" {
			if sample.Raw, err = plainNumber(raw); err != nil {
				err = fmt.Errorf("raw: %w", err)
			}
		}
		switch {
		case err != nil:
			return nil, misusef("--%s %s: %v", one.how, one.text, err)
		case raw == "" && asked:
			return nil, misusef("the probe is in one sample now: the others need their RAW")
		case raw == "":
			asked = true
			if sample.Raw, err = newest(); err != nil {
				return nil, err
			}
		}
		out = append(out, sample)
	}
	return out, nil
}

func readTruth(p farm.Probe, how, text string) (calibration.Sample, error) {
	switch {
	case how == "mark":
		return readMark(p, text)
	case p.Measures != farm.Moisture:
		return calibration.Sample{}, fmt.Errorf("%s measures %s; only moisture is weighed or felt", p.ID, p.Measures)
	case how == "feel":
		f, ok := calibration.FeelingOf(text)
		if !ok {
			return calibration.Sample{}, fmt.Errorf("%q is no feeling; they are %s", text, feelings())
		}
		return calibration.Sample{Value: f.Range.Middle(), Within: (f.Range.High - f.Range.Low) / 2,
			From: fmt.Sprintf("%s (%s, %s), %g to %g %%", f.Word, f.Says, calibration.FeelSource, f.Range.Low, f.Range.High)}, nil
	}
	return readWeighed(text)
}

func readMark(p farm.Probe, text string) (calibration.Sample, error) {
	value := text
	if p.Measures == farm.Moisture { // its unit may be left out
		value = strings.TrimSuffix(text, "%") + "%"
	}
	v, err := quantity.ParseOf(p.Measures.Row(), value)
	return calibration.Sample{Value: v, From: "marked as " + text}, err
}

// readWeighed reads three weights. The last digit written is taken for the
// balance's step.
func readWeighed(text string) (calibration.Sample, error) {
	parts := strings.Split(text, ",")
	if len(parts) != 3 {
		return calibration.Sample{}, errors.New("wants three weights, wet,dry,tin, with a point for decimals")
	}
	var v [3]float64
	step := 0.0
	for i, part := range parts {
		var err error
		if v[i], err = plainNumber(part); err != nil {
			return calibration.Sample{}, err
		}
		_, decimals, _ := strings.Cut(strings.TrimSpace(part), ".")
		step = max(step, math.Pow10(-len(decimals)))
	}
	w := calibration.Weighing{Wet: v[0], Dry: v[1], Tin: v[2]}
	if err := w.Check(); err != nil {
		return calibration.Sample{}, err
	}
	within := w.Within(step)
	return calibration.Sample{Value: w.Moisture(), Within: within,
		From: fmt.Sprintf("weighed, %.2f %% of the fresh mass (%.2f %% of the dry mass), within %.2g by the balance", w.Moisture(), w.DryBasis(), within)}, nil
}

func plainNumber(s string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil || math.IsNaN(v) || math.Abs(v) > 1e9 {
		return 0, fmt.Errorf("%q is no number", s)
	}
	return v, nil
}

// newestRaw asks the daemon, or the journal, what the probe said last.
func newestRaw(ctx context.Context, cfg *config.Config, id string, s *streams) (float64, error) {
	if cfg.Journal.Path == "" {
		return 0, errors.New("the configuration names no journal to take the reading from: give the RAW number")
	}
	v, err := view(ctx, cfg, false)
	if err != nil {
		return 0, err
	}
	for _, p := range v.Probes {
		if p.ID != id || p.Raw == nil {
			continue
		}
		fmt.Fprintf(s.talk, "%s said %s, %s ago\n", id, snippet.Number(*p.Raw), farm.SayLong(v.At.Sub(p.At)))
		if !p.Fresh {
			fmt.Fprintln(s.talk, "that is long ago: is the probe where the sample was taken?")
		}
		if p.Doubt != "" {
			fmt.Fprintf(s.talk, "it was not believed: %s\n", p.Doubt)
		}
		return *p.Raw, nil
	}
	return 0, fmt.Errorf("%s has not been heard yet: give its raw number, as in --mark 2850=12%%", id)
}
