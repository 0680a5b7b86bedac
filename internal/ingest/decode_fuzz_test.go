package ingest_test

import (
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// one is a farm with a probe at /a/v and one that takes the whole payload.
func one() *farm.Farm {
	return &farm.Farm{Probes: []farm.Probe{
		{ID: "inside", Topic: "json", Value: "/a/v", Time: "/at", Measures: farm.Temperature, Unit: farm.Celsius},
		{ID: "whole", Topic: "bare", Measures: farm.Temperature, Unit: farm.Celsius},
	}}
}

// FuzzDecode holds the decoder to the standard library's: what encoding/json
// reads, it reads, and finds the same number in it.
func FuzzDecode(f *testing.F) {
	for _, s := range []string{
		"21.5", " 21.5\n", `"21.5"`, "-1e3", "nan", "0x10", "", "\xff", `{"a":{"v":21.5}}`, `{"a":{"v":1},"a":{"w":2}}`,
		`{"a":{"v":"21.5"},"at":"2026-05-01T10:00:00Z"}`, `{"a":{"v":NaN}}`, `{"\u0061":{"v":1e400}}`, `[[[[`, `{"a":{"v":1}} x`,
		`{"a":[1,2,{"v":3}]}`, "1234567890123456789012345", `{"at":1e18,"a":{"v":-0}}`, `{"a":{"v":-nul}}`, `{"a":{"v":01}}`,
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		d := ingest.NewDecoder(one(), "binwatch")
		for _, topic := range []string{"bare", "binwatch/jot/x", "binwatch/hush/x"} {
			d.Decode(topic, in, noon)
			d.Explain(topic, in)
		}
		got := d.Decode("json", in, noon)
		if len(got.Readings)+len(got.Rejected) != 1 {
			t.Fatalf("%+v", got)
		}
		var doc any
		if json.Unmarshal(in, &doc) != nil || len(in) > 64<<10 || depth(in) > 60 {
			return // beyond the standard the decoder is its own judge
		}
		want, ok := pick(doc)
		if ok != (len(got.Readings) == 1) {
			t.Fatalf("%q: got %+v, encoding/json finds %v %v", in, got, want, ok)
		}
		if ok && got.Readings[0].Raw != want && !(math.IsNaN(want) && math.IsNaN(got.Readings[0].Raw)) {
			t.Fatalf("%q: got %v, encoding/json finds %v", in, got.Readings[0].Raw, want)
		}
	})
}

// pick finds the number at /a/v, also in a text.
func pick(doc any) (float64, bool) {
	top, _ := doc.(map[string]any)
	inner, _ := top["a"].(map[string]any)
	switch v, ok := inner["v"]; v := v.(type) {
	case float64:
		return v, true
	case nil:
		return math.NaN(), ok
	case string:
		return textNumber(v)
	}
	return 0, false
}

func textNumber(s string) (float64, bool) {
	s = strings.TrimSpace(s)
	lower := strings.TrimPrefix(strings.ToLower(s), "-")
	if lower != "nan" && lower != "inf" && lower != "infinity" && strings.Trim(s, "0123456789+-.eE") != "" {
		return 0, false
	}
	if lower == "nan" {
		return math.NaN(), true
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil || math.IsInf(v, 0)
}

func depth(in []byte) (deepest int) {
	d := 0
	for _, c := range in {
		switch c {
		case '[', '{':
			d++
			deepest = max(deepest, d)
		case ']', '}':
			d--
		}
	}
	return deepest
}

// What is a number in JSON is as encoding/json has it, for every text that could
// be taken for one.
func TestNumbersAreThoseOfJSON(t *testing.T) {
	d := ingest.NewDecoder(one(), "binwatch")
	var try func(s string)
	try = func(s string) {
		got := d.Decode("json", []byte(`{"a":{"v":`+s+`}}`), noon)
		if takes := len(got.Readings) == 1; takes != json.Valid([]byte(s)) {
			t.Errorf("%s is taken for a number: %v; encoding/json says otherwise", s, takes)
		}
		for _, c := range "01+-.eE" {
			if len(s) < 6 {
				try(s + string(c))
			}
		}
	}
	try("")
}

// Numbers are read as strconv reads them, to the last bit.
func TestNumbersAreReadExactly(t *testing.T) {
	d := ingest.NewDecoder(one(), "binwatch")
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-1e6, 1e6).Draw(t, "number")
		format := rapid.SampledFrom([]byte{'f', 'g', 'e'}).Draw(t, "format")
		s := strconv.FormatFloat(v, format, rapid.IntRange(-1, 17).Draw(t, "digits"), 64)
		want, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		got := d.Decode("bare", []byte(s), noon)
		if len(got.Readings) != 1 || got.Readings[0].Raw != want {
			t.Fatalf("%s: got %+v, want %v", s, got, want)
		}
	})
}

// Bare numbers and small messages make one allocation: the readings.
func TestDecodingAllocatesLittle(t *testing.T) {
	d := ingest.NewDecoder(shed(), "binwatch")
	for topic, payload := range map[string]string{
		"glass/far/moisture": "71.5",
		"glass/bed":          `{"temp_f":61.7,"soil":2135}`,
		"store/crate":        `{"all":[1,2,{"v":9.5}],"m":0.72,"power":{"mv":3310}}`,
	} {
		b := []byte(payload)
		if n := testing.AllocsPerRun(100, func() { d.Decode(topic, b, noon) }); n > 1 {
			t.Errorf("%s: %v allocations", payload, n)
		}
	}
}

func BenchmarkDecode(b *testing.B) {
	d := ingest.NewDecoder(shed(), "binwatch")
	for name, m := range map[string]struct{ topic, payload string }{
		"bare": {"glass/far/moisture", "71.5"},
		"json": {"glass/bed", `{"temp_f":61.7,"soil":2135,"at":"2026-05-01T11:55:00Z"}`},
	} {
		payload := []byte(m.payload)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				d.Decode(m.topic, payload, noon)
			}
		})
	}
	b.Run("encoding_json", func(b *testing.B) {
		payload := []byte(`{"temp_f":61.7,"soil":2135,"at":"2026-05-01T11:55:00Z"}`)
		b.ReportAllocs()
		for b.Loop() {
			var m map[string]any
			if err := json.Unmarshal(payload, &m); err != nil {
				b.Fatal(err)
			}
		}
	})
}
