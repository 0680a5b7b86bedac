package survey_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/survey"
)

var update = flag.Bool("update", false, "write the golden files anew")

var start = time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)

// A said is one message, some seconds after the start.
type said struct {
	after    float64
	topic    string
	payload  string
	retained bool
}

func hear(messages ...said) *survey.Survey {
	s := survey.New(time.UTC)
	for _, m := range messages {
		s.Hear(&ingest.Delivery{
			Topic: m.topic, Payload: []byte(m.payload), Retained: m.retained,
			Arrived: start.Add(time.Duration(m.after * float64(time.Second))),
		})
	}
	return s
}

func yamlOf(t *testing.T, p survey.Proposal) string {
	t.Helper()
	var b strings.Builder
	if err := p.WriteYAML(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// compose puts every proposed probe to use in a minimal farm and loads that.
func compose(t *testing.T, p survey.Proposal) *farm.Farm {
	t.Helper()
	var b strings.Builder
	b.WriteString("farm: Hillfoot Nursery\n" + yamlOf(t, p))
	b.WriteString("  spare: {topic: none of these, measures: temperature}\nbins:\n  spare: {species: red, zones: {all: {aim: living, probes: [spare]}}}\n")
	batteries, bins := 0, 1
	for _, probe := range p.Probes {
		for _, id := range probe.Stands {
			if probe.Measures == farm.Battery {
				batteries++
				continue
			}
			bins++
			fmt.Fprintf(&b, "  bin-%d: {species: red, zones: {all: {aim: living, probes: [%q]}}}\n", bins, id)
		}
	}
	loader := config.Loader{Now: func() time.Time { return start }, Zone: func() *time.Location { return time.UTC }}
	c, err := loader.Parse("farm.yaml", []byte(b.String()), config.ForRehearsal)
	if err != nil {
		t.Fatalf("the proposal does not load: %v\n%s", err, b.String())
	}
	if got, want := len(c.Farm.Probes), bins+batteries; got != want {
		t.Errorf("got %d probes of the configuration, want %d:\n%s", got, want, b.String())
	}
	return &c.Farm
}

// hillfoot is what a nursery's broker might carry within a minute and a half.
func hillfoot() *survey.Survey {
	var all []said
	for i := range 5 {
		at := float64(20 * i)
		for rack := 1; rack <= 3; rack++ {
			all = append(all, said{at, fmt.Sprintf("rack/%d/t", rack), fmt.Sprintf("%.2f", 18.5+float64(rack)+0.06*float64(i)), false})
		}
		stamp := start.Add(time.Duration(at) * time.Second).Format(time.RFC3339)
		all = append(all,
			said{at, "glass/bed", fmt.Sprintf(`{"temp_f": %.1f, "soil": {"top": {"raw": %d}}, "batt_mv": 3710, "rssi": -61, "at": %q, "uptime": %d}`, 64.2+float64(i)/10, 2200-i, stamp, 900+int(at)), false},
			said{at, "glass/air/temperature", fmt.Sprintf(`"%.1f"`, 21.5+float64(i)/10), false},
			said{at, "office/door", "open", false},
		)
	}
	return hear(append(all,
		said{0, "store/crate/m", "47", true}, said{0, "store/crate/t", "9.5", true}, said{0, "store/crate/b", "3.91", true},
		said{40, "store/crate/m", "46", false},
		said{0, "store/crate/humidity", "81", true},
		said{3, "bench/probe7", "85", false}, said{5, "bench/probe7", "", false},
		said{6, "binwatch/jot/bed", `{"what":"watered","amount":"2 L"}`, false},
	)...)
}

func TestProposal(t *testing.T) {
	p := hillfoot().Propose()
	got := yamlOf(t, p)
	golden := filepath.Join("testdata", "hillfoot.yaml")
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	f := compose(t, p)
	decoder := ingest.NewDecoder(f, "binwatch")
	decoded := decoder.Decode("glass/bed", []byte(`{"temp_f": 68, "soil": {"top": {"raw": 1433}}, "batt_mv": 3710, "at": "2026-05-04T08:00:00Z"}`), start.Add(time.Minute))
	want2 := map[string]float64{"glass-bed-t": 20, "glass-bed-m": 90, "glass-bed-b": 3.71}
	for _, r := range decoded.Readings {
		if diff := r.Value - want2[r.Probe]; diff > 1e-9 || diff < -1e-9 || !r.Stamped || !r.At.Equal(start) {
			t.Errorf("got %+v, want %v by the device's clock", r, want2[r.Probe])
		}
		delete(want2, r.Probe)
	}
	if len(want2) > 0 || len(decoded.Rejected) > 0 {
		t.Errorf("the proposed probes do not read: missing %v, rejected %v", want2, decoded.Rejected)
	}
}

// ofTopic gives the proposal of one topic's numbers, a minute apart.
func ofTopic(topic string, payloads ...string) survey.Proposal {
	var all []said
	for i, payload := range payloads {
		all = append(all, said{float64(60 * i), topic, payload, false})
	}
	return hear(all...).Propose()
}

func TestGuesses(t *testing.T) {
	tests := []struct {
		name, topic string
		payloads    []string
		want        string // id measures unit points low; or why not
	}{
		{"degrees", "bed/t", []string{"18.5", "19"}, "bed-t temperature C [] "},
		{"a fault code is no temperature", "bed/t", []string{"18.5", "85.0", "-127"}, "bed-t temperature C [] "},
		{"fault codes alone", "bed/t", []string{"85"}, "bed-t temperature C [] "},
		{"Fahrenheit by value", "bed/t", []string{"64", "66"}, "bed-t temperature F [] "},
		{"Fahrenheit by name, on a cold day", "bed/temp_f", []string{"40", "41"}, "bed-temp_f-t temperature F [] "},
		{"Celsius by name, in a hot heap", "bed/temp_c", []string{"61"}, "bed-temp_c-t temperature C [] "},
		{"kelvin", "bed/temp_k", []string{"291.2"}, "bed-temp_k-t temperature raw [{273.15 0} {373.15 100}] "},
		{"tenths", "bed/temperature", []string{"185", "192"}, "bed-t temperature raw [{0 0} {1000 100}] "},
		{"hundredths", "bed/temperature", []string{"1850", "1925"}, "bed-t temperature raw [{0 0} {10000 100}] "},
		{"thousandths", "bed/temperature", []string{"18500"}, "bed-t temperature raw [{0 0} {100000 100}] "},
		{"no temperature", "bed/temperature", []string{"1e9"}, "no temperature that a bin could have"},
		{"percent", "bed/moisture", []string{"71", "72.5"}, "bed-m moisture % [] "},
		{"a ratio", "bed/moisture", []string{"0.71", "0.7"}, "bed-m moisture ratio [] "},
		{"soil humidity is moisture", "bed/soil_humidity", []string{"71"}, "bed-soil_humidity-m moisture % [] "},
		{"air humidity is not", "bed/humidity", []string{"71"}, "bed-h humidity % [] "},
		{"whose humidity", "soil/humidity", []string{"71"}, `named "humidity": water, and nothing says whether the soil's or the air's`},
		{"kilograms", "bed/scale/kg", []string{"21.4"}, "bed-scale-w weight kg [] "},
		{"no humidity", "bed/humidity", []string{"7100"}, "no air humidity that a bin could have"},
		{"ten bits", "bed/soil", []string{"512"}, "bed-m moisture raw [{358 90} {870 0}] "},
		{"twelve bits", "bed/soil", []string{"2048"}, "bed-m moisture raw [{1433 90} {3481 0}] "},
		{"volts of a moisture probe", "bed/soil_v", []string{"1.82", "1.9"}, "bed-soil_v-m moisture raw [{1.15 90} {2.81 0}] "},
		{"a raw number below 100", "bed/soil_raw", []string{"87"}, "bed-soil_raw-m moisture raw [{358 90} {870 0}] "},
		{"cell", "bed/battery", []string{"3.9"}, "bed-b battery V [] 3.3 V"},
		{"lead", "bed/batt_voltage", []string{"12.6"}, "bed-batt_voltage-b battery V [] "},
		{"millivolts", "bed/vbat", []string{"3900"}, "bed-b battery mV [] 3.3 V"},
		{"charge", "bed/battery", []string{"87"}, "bed-b battery % [] 20%"},
		{"quoted number", "bed/t", []string{`"18.5"`}, "bed-t temperature C [] "},
		{"by numbers alone", "garden/three", []string{"18.5", "18.25"}, "neither its name nor its unit says what it is; by its numbers it could be a temperature"},
		{"converter by numbers alone", "garden/three", []string{"1850"}, "neither its name nor its unit says what it is; by its numbers it could be a moisture probe's converter"},
		{"nothing to go by", "garden/three", []string{"60"}, "neither its name nor its unit says what it is"},
		{"a word", "garden/door", []string{"open"}, "no number"},
		{"not a number", "bed/m", []string{"nan"}, "only what stands for a failure"},
		{"a part number is no battery", "shed/ds18b20", []string{"18.5"}, "shed-ds18b20-t temperature C [] "},
		{"camel case", "shed", []string{`{"bedTemp": 19}`}, "shed-t temperature C [] "},
		{"nested in an array", "shed", []string{`{"r": [{"t": 19}]}`}, "shed-t temperature C [] "},
		{"nameless member", "shed", []string{`{"x": 19.5}`}, "neither its name nor its unit says what it is"},
		{"our own", "binwatch/seen/abc", []string{"1"}, "binwatchd's own"},
		{"braces", "shed/{t}", []string{"19"}, "the configuration takes braces for named parts"},
		{"a line break", "shed/a\nb/t", []string{"19"}, "its name holds characters that the configuration refuses"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := ofTopic(tt.topic, tt.payloads...)
			got := ""
			for _, probe := range p.Probes {
				got += fmt.Sprintf("%s %s %s %v %s", probe.ID, probe.Measures, probe.Unit, probe.Calibration, probe.Low)
				compose(t, p)
			}
			for _, a := range p.Aside {
				got += a.Why
			}
			if got != tt.want {
				t.Errorf("got  %s\nwant %s", got, tt.want)
			}
		})
	}
}

func TestLikeness(t *testing.T) {
	tests := []struct {
		name   string
		topics []string
		want   string // "id topic" of each
	}{
		{"numbers", []string{"rack/1/t", "rack/2/t"}, "rack-{n}-t rack/{n}/t"},
		{"numbers in words", []string{"rack1/t", "rack12/t"}, "rack{n}-t rack{n}/t"},
		{"two places", []string{"rack/1/tray/1/t", "rack/2/tray/1/t", "rack/2/tray/3/t"}, "rack-{n}-tray-{m}-t rack/{n}/tray/{m}/t"},
		{"one of two places differs", []string{"house/4/rack/1/t", "house/4/rack/2/t"}, "house-4-rack-{n}-t house/4/rack/{n}/t"},
		{"numbers of devices", []string{"probe/a4c138f2/t", "probe/A4C1390b/t"}, "probe-{n}-t probe/{n}/t"},
		{"words are names", []string{"bed/t", "crate/t"}, "bed-t bed/t, crate-t crate/t"},
		{"one alone", []string{"rack/1/t"}, "rack-1-t rack/1/t"},
		{"names alike by chance", []string{"a/b/t", "a-b/t"}, "a-b-t a-b/t, a-b-t-2 a/b/t"},
		{"a name that another's pattern means", []string{"rack/1/t", "rack/2/t", "rack-1/t"}, "rack-1-t rack-1/t, rack-1-t-2 rack/1/t, rack-2-t rack/2/t"},
		{"patterns within patterns", []string{"rack/1/t", "rack/2/t", "rack/1/3/t", "rack/2/4/t"}, "rack-1-3-t rack/1/3/t, rack-{n}-t rack/{n}/t, rack-2-4-t rack/2/4/t"},
		{"too many places", []string{"1/2/3/4/5/t", "2/3/4/5/6/t"}, "1-2-3-4-5-t 1/2/3/4/5/t, 2-3-4-5-6-t 2/3/4/5/6/t"},
		{"nothing to name it by", []string{"//t"}, "t-t //t"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var all []said
			for _, topic := range tt.topics {
				all = append(all, said{0, topic, "19.5", false})
			}
			p := hear(all...).Propose()
			var got []string
			for _, probe := range p.Probes {
				got = append(got, probe.ID+" "+probe.Topic)
			}
			if diff := cmp.Diff(tt.want, strings.Join(got, ", ")); diff != "" {
				t.Errorf("(-want +got)\n%s", diff)
			}
			compose(t, p)
		})
	}
}

func TestPace(t *testing.T) {
	at := func(s ...float64) (all []said) {
		for _, x := range s {
			all = append(all, said{x, "bed/t", "19", false})
		}
		return all
	}
	stamped := func(s ...float64) (all []said) { // as handed over at once after an outage
		for _, x := range s {
			all = append(all, said{9000, "bed", fmt.Sprintf(`{"t": 19, "ts": %d}`, start.Unix()+int64(x)), x == s[0]})
		}
		return all
	}
	tests := []struct {
		name string
		said []said
		want time.Duration
	}{
		{"once", at(0), 0},
		{"about ten minutes", at(0, 596, 1205, 1801), 10 * time.Minute},
		{"one message lost", at(0, 60, 120, 240, 300), time.Minute},
		{"a pace of its own", at(0, 77, 154), 77 * time.Second},
		{"faster than a second", at(0, 0.2, 0.4), time.Second},
		{"stored ones have no time", []said{{0, "bed/t", "19", true}, {30, "bed/t", "19", false}}, 0},
		{"by time stamps, the stored one too", stamped(0, 600), 10 * time.Minute},
		{"the same stamp twice is one reading", stamped(0, 600, 600, 1200), 10 * time.Minute},
		{"a stamp that is not believed", []said{{0, "bed", `{"t": 19, "ts": 1000000001}`, false}, {60, "bed", `{"t": 19, "ts": 1000000002}`, false}}, time.Minute},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := hear(tt.said...).Propose()
			if len(p.Probes) != 1 || p.Probes[0].Every != tt.want {
				t.Errorf("got %+v, want one probe every %s", p.Probes, tt.want)
			}
			compose(t, p)
		})
	}
}

// A battery names the probes of its own device only.
func TestBatteriesNameTheirDevice(t *testing.T) {
	p := hear(
		said{0, "rack/1/t", "19", false}, said{0, "rack/2/t", "19", false}, said{0, "rack/1/b", "3.9", false}, said{0, "rack/2/b", "3.9", false},
		said{0, "shed/7/t", "19", false}, said{0, "shed/8/t", "19", false}, said{0, "shed/8/b", "3.9", false},
		said{0, "tub", `{"m": 44, "b": 3.9}`, false}, said{0, "vbat", "3.9", false},
	).Propose()
	got := map[string]string{}
	for _, probe := range p.Probes {
		if probe.Measures == farm.Battery {
			got[probe.ID] = strings.Join(probe.Of, " ")
		}
	}
	want := map[string]string{"rack-{n}-b": "rack-{n}-t", "shed-8-b": "shed-8-t", "tub-b": "tub-m", "vbat-b": ""}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	f := compose(t, p)
	for _, probe := range f.Probes {
		if probe.ID == "rack-2-b" && (len(probe.Of) != 1 || probe.Of[0] != "rack-2-t") {
			t.Errorf("rack-2-b powers %v, want rack-2-t", probe.Of)
		}
	}
}

// A busy broker costs no more than a bounded memory, and says so.
func TestTooManyTopics(t *testing.T) {
	s := survey.New(time.UTC)
	for i := range 5000 {
		s.Hear(&ingest.Delivery{Topic: fmt.Sprintf("house/%d/t", i), Payload: []byte("19"), Arrived: start})
	}
	p := s.Propose()
	if p.Topics != 4000 || p.Beyond != 1000 || len(p.Probes) != 1 || len(p.Probes[0].Stands) != 4000 {
		t.Errorf("got %d topics, %d beyond, %d probes", p.Topics, p.Beyond, len(p.Probes))
	}
	if text := yamlOf(t, p); !strings.Contains(text, "1000 more that there was no room for") || len(text) > 2000 {
		t.Errorf("got %s", text)
	}
}

func TestNothingHeard(t *testing.T) {
	if got := yamlOf(t, survey.New(time.UTC).Propose()); strings.Contains(got, "probes:") || !strings.Contains(got, "0 messages") {
		t.Errorf("got %s", got)
	}
}

// Whatever a broker carries, the proposal loads, and does not depend on the
// order of the topics.
func FuzzProposalLoads(f *testing.F) {
	f.Add("rack/1/t", "19", "rack/2/t", "20", "rack/1", `{"m":44,"b":3}`)
	f.Add("a b", "19.5", "//", "19.5", "x/y", `{"soil/~":{"":[1]}}`)
	f.Add("1/2", "19.5", "1-2", "19.5", "3/4", `{"t":1,"T":2,"temp1":3,"temp2":4}`)
	f.Add("\u0085/t", "19", "*a", "1.5", "t", `{"ts":1777881600,"t":"19"}`)
	f.Fuzz(func(t *testing.T, a, pa, b, pb, c, pc string) {
		forth := hear(said{0, a, pa, false}, said{30, b, pb, true}, said{61, c, pc, false}, said{90, a, pb, false})
		back := hear(said{30, b, pb, true}, said{61, c, pc, false}, said{0, a, pa, false}, said{90, a, pb, false})
		p := forth.Propose()
		text := yamlOf(t, p)
		if len(p.Probes) > 0 {
			compose(t, p)
		}
		if a != b && a != c && b != c && yamlOf(t, back.Propose()) != text {
			t.Errorf("another order of topics gives another proposal than\n%s", text)
		}
	})
}

// 85 is a fault code of a thermometer and of nothing else; so a bin's air, its
// moisture and a battery may be at it.
func TestEightyFiveIsANumberOfAllButAThermometer(t *testing.T) {
	for _, tt := range []struct {
		topic    string
		payloads []string
		measures farm.Quantity
		unit     farm.Unit
		heard    string
	}{
		{"loft/rh", []string{"85"}, farm.Humidity, farm.Percent, "85"},
		{"loft/soil_moisture", []string{"85.0", "84.5"}, farm.Moisture, farm.Percent, "84.5 to 85"},
		{"loft/battery", []string{"85", "85"}, farm.Battery, farm.Percent, "85"},
		{"loft/co2_ppm", []string{"85"}, farm.CO2, farm.Percent, "85"}, // 85 ppm is no air
		{"loft/weight_lb", []string{"85"}, farm.Weight, farm.Pound, "85"},
	} {
		var messages []said
		for i, text := range tt.payloads {
			messages = append(messages, said{after: float64(i), topic: tt.topic, payload: text})
		}
		p := hear(messages...).Propose()
		if len(p.Probes) != 1 {
			t.Errorf("%s: got %s", tt.topic, yamlOf(t, p))
			continue
		}
		got, yaml := p.Probes[0], yamlOf(t, p)
		if got.Measures != tt.measures || got.Unit != tt.unit || !strings.Contains(yaml, "# Heard: "+tt.heard+",") || strings.Contains(yaml, "fault code") {
			t.Errorf("%s: got %s in %s:\n%s", tt.topic, got.Measures, got.Unit, yaml)
		}
	}
}
