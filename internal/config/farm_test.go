package config_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/notify"
	"github.com/google/go-cmp/cmp"
)

func probe(t *testing.T, c *config.Config, id string) farm.Probe {
	t.Helper()
	p, ok := c.Farm.ProbeByID(id)
	if !ok {
		t.Fatalf("there is no probe %s", id)
	}
	return p
}

// A template makes a probe for each name that a bin refers to, in that order,
// where the template stands; a name of its own entry is taken from there. A
// battery follows the probes that run on it.
func TestTemplates(t *testing.T) {
	c := parseAt(t, `
farm: Hillfoot Nursery
broker: {url: "tcp://127.0.0.1:1883"}
journal: {path: /j}
probes:
  "rack-{n}-b": {topic: "rack/{n}/climate", value: /mv, measures: battery, unit: mV, low: 3.3 V, of: ["rack-{n}-t", "rack-{n}-m"]}
  "rack-{n}-t": {topic: "rack/{n}/climate", value: "/{n}/t", time: "/{n}/at", measures: temperature}
  "rack-{n}-m": {topic: "rack/{n}/climate", value: /m, measures: moisture}
  rack-9-t: {topic: odd/one, measures: temperature}
  "{site}-{site}-{n}": {topic: "{site}/{n}", measures: temperature}
bins:
  upper: {ambient: rack-9-t, zones: {all: {aim: keeping, probes: [rack-3-t]}}}
  lower: {zones: {all: {aim: keeping, probes: [rack-1.left-m, rack-1.left-t, shed-shed-x]}}}
`, config.ForRun)
	want := []farm.Probe{
		{ID: "rack-3-b", Topic: "rack/3/climate", Value: "/mv", Measures: farm.Battery, Unit: farm.Millivolt, Low: 3.3, Of: []string{"rack-3-t"}},
		{ID: "rack-1.left-b", Topic: "rack/1.left/climate", Value: "/mv", Measures: farm.Battery, Unit: farm.Millivolt, Low: 3.3, Of: []string{"rack-1.left-t", "rack-1.left-m"}},
		{ID: "rack-3-t", Topic: "rack/3/climate", Value: "/3/t", Time: "/3/at", Measures: farm.Temperature, Unit: farm.Celsius},
		{ID: "rack-1.left-t", Topic: "rack/1.left/climate", Value: "/1.left/t", Time: "/1.left/at", Measures: farm.Temperature, Unit: farm.Celsius},
		{ID: "rack-1.left-m", Topic: "rack/1.left/climate", Value: "/m", Measures: farm.Moisture, Unit: farm.Percent},
		{ID: "rack-9-t", Topic: "odd/one", Measures: farm.Temperature, Unit: farm.Celsius},
		{ID: "shed-shed-x", Topic: "shed/x", Measures: farm.Temperature, Unit: farm.Celsius},
	}
	for i := range want {
		want[i].Every = 10 * time.Minute
	}
	if diff := cmp.Diff(want, c.Farm.Probes); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// A battery is made for the probes of the template that it names, or for entries of
// their own where it names none; never for a device that nobody has.
func TestATemplateMakesNoPhantom(t *testing.T) {
	const begin = `
farm: Hillfoot Nursery
broker: {url: "tcp://127.0.0.1:1883"}
journal: {path: /j}
probes:
  "linden-{n}-b": {topic: "linden/{n}/b", measures: battery, of: "linden-{n}-t"}
  linden-01n-t: {topic: north wall/t, measures: temperature}
`
	const bins = "bins:\n  north: {zones: {all: {aim: keeping, probes: [linden-01n-t]}}}\n"
	for _, tt := range []struct{ name, probes, bins, want string }{
		{"beside a template", `  "linden-{n}-t": {topic: "linden/{n}/t", measures: temperature}`, "  south: {zones: {all: {aim: keeping, probes: [linden-01-t]}}}\n", "linden-01-b linden-01n-t linden-01-t"},
		{"beside entries of their own", `  linden-02-t: {topic: linden/02/t, measures: temperature}`, "  south: {zones: {all: {aim: keeping, probes: [linden-02-t]}}}\n", "linden-02-b linden-01n-t linden-02-t"},
	} {
		var got []string
		for _, p := range parseAt(t, begin+tt.probes+"\n"+bins+tt.bins, config.ForRun).Farm.Probes {
			got = append(got, p.ID)
		}
		if strings.Join(got, " ") != tt.want {
			t.Errorf("%s: got the probes %v, want %s", tt.name, got, tt.want)
		}
	}
	c := parseAt(t, `
farm: Hillfoot Nursery
broker: {url: "tcp://127.0.0.1:1883"}
journal: {path: /j}
probes:
  "linden-{n}-t": {topic: "linden/{n}/t", measures: temperature}
bins:
  a: {zones: {all: {aim: keeping, probes: [linden-01-t]}}}
  b: {zones: {all: {aim: keeping, probes: [linden-02-t]}}}
  c: {zones: {all: {aim: keeping, probes: [linden-03n-t]}}}
`, config.ForRun)
	if len(c.Notes) == 0 || !strings.Contains(c.Notes[0].String(), `in all but "03n": is that one meant?`) {
		t.Errorf("got the notes %v, want one of 03n", c.Notes)
	}
}

func TestUnusedProbesAreNoted(t *testing.T) {
	c := parseAt(t, replaced(t, "  air: {", `  spare: {topic: x, measures: temperature}
  "rack-{n}": {topic: "rack/{n}", measures: temperature}
  air: {`), config.ForRun)
	var got []string
	for _, n := range c.Notes {
		got = append(got, n.String())
	}
	want := []string{
		"/etc/binwatchd/farm.yaml:8:3: the probe spare is in no zone: its readings are kept, but judge nothing",
		"/etc/binwatchd/farm.yaml:9:3: no bin refers to a probe named like rack-{n}, so there is none",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// One point moves a probe that has a unit along that unit's slope.
func TestOnePointCalibration(t *testing.T) {
	tests := []struct {
		name, probe string
		want        []farm.Point
	}{
		{"celsius", "{topic: x, measures: temperature, unit: C, calibration: [{raw: 0.4, temperature: 0C}]}", []farm.Point{{Raw: 0.4}, {Raw: 100.4, Value: 100}}},
		{"fahrenheit", "{topic: x, measures: temperature, unit: F, calibration: [{raw: 33, temperature: 0C}]}", []farm.Point{{Raw: 33}, {Raw: 133, Value: 100 * 5.0 / 9}}},
		{"two points stay", "{topic: x, measures: temperature, unit: C, calibration: [{raw: 99, temperature: 98C}, {raw: 1, temperature: 0C}]}", []farm.Point{{Raw: 1}, {Raw: 99, Value: 98}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := probe(t, parseAt(t, replaced(t, bedT, tt.probe), config.ForRun), "bed-t")
			if diff := cmp.Diff(tt.want, p.Calibration); diff != "" || p.Unit != farm.RawUnit {
				t.Errorf("unit %s, points (-want +got):\n%s", p.Unit, diff)
			}
		})
	}
}

// Valid filters of MQTT 3.1.1 (OASIS 2014), §4.7.1.2 and §4.7.1.3.
func TestTopicFilters(t *testing.T) {
	for _, filter := range []string{"sport/tennis/player1/#", "sport/#", "#", "sport/tennis/#", "+", "+/tennis/#", "sport/+/player1", "/finance", "/+"} {
		c := parseAt(t, replaced(t, bedT, `{topic: "`+filter+`", measures: temperature}`), config.ForRun)
		if got := probe(t, c, "bed-t").Topic; got != filter {
			t.Errorf("got %q, want %q", got, filter)
		}
	}
}

// The pointers of RFC 6901 §5, as YAML in single quotes.
func TestPointers(t *testing.T) {
	for _, pointer := range []string{"", "/foo", "/foo/0", "/", "/a~1b", "/c%d", "/e^f", "/g|h", `/i\j`, `/k"l`, "/ ", "/m~0n"} {
		c := parseAt(t, replaced(t, bedT, "{topic: x, measures: temperature, value: '"+pointer+"'}"), config.ForRun)
		if got := probe(t, c, "bed-t").Value; got != pointer {
			t.Errorf("got %q, want %q", got, pointer)
		}
	}
}

func TestShares(t *testing.T) {
	c := parseAt(t, replaced(t, "species: red\n    ambient: air\n    zones:\n      all: "+zoneAll, `species: {red: 60%, blue: 40.2%}
    dry_mass: 20 kg
    margin: {moisture: 4%}
    zones:
      one: {aim: living, probes: bed-t, share: 40%, margin: {temperature: 1F}}
      two: {aim: living, probes: bed-m, dry_mass: 3 kg}
      three: {aim: living, probes: air, patience: 0s}`), config.ForRun)
	bin := c.Farm.Bins[0]
	sum := 0.0
	for _, s := range bin.Species {
		sum += s.Fraction
	}
	if sum != 1 {
		t.Errorf("the shares of the species add up to %v", sum)
	}
	type part struct{ share, dry, kelvin, points, minutes float64 }
	var got []part
	for _, z := range bin.Zones {
		got = append(got, part{z.Share, z.DryMassKg, z.Margin[farm.Temperature], z.Margin[farm.Moisture], z.Patience.Minutes()})
	}
	want := []part{{0.4, 8, 5.0 / 9, 4, 30}, {0.3, 3, 0.5, 4, 30}, {0.3, 6, 0.5, 4, 0}}
	if diff := cmp.Diff(want, got, cmp.AllowUnexported(part{})); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// A species without a share has an equal part of what the others leave.
func TestSpeciesWithoutAShareTakeWhatIsLeft(t *testing.T) {
	for _, tt := range []struct {
		species string
		want    []float64
	}{
		{"[red, blue, european]", []float64{1. / 3, 1. / 3, 1. / 3}},
		{"{red: 60%, european: 35%, blue: }", []float64{.6, .35, .05}},
		{"{red: , european: 40%, blue: }", []float64{.3, .4, .3}},
		{"{red: , blue: }", []float64{.5, .5}},
		{"{red: 33.3%, european: 33.3%, blue: 33.3%}", []float64{1. / 3, 1. / 3, 1. / 3}},
	} {
		t.Run(tt.species, func(t *testing.T) {
			c := parseAt(t, replaced(t, "    species: red\n", "    species: "+tt.species+"\n"), config.ForRun)
			again := parseAt(t, show(t, c), config.ForRun)
			for i, want := range tt.want {
				if got := c.Farm.Bins[0].Species[i].Fraction; math.Abs(got-want) > 1e-12 {
					t.Errorf("got %v of %s, want %v", got, c.Farm.Bins[0].Species[i].Species, want)
				}
				if got := again.Farm.Bins[0].Species[i].Fraction; math.Abs(got-want) > 1e-3 {
					t.Errorf("shown and read again: got %v, want %v", got, want)
				}
			}
		})
	}
}

func TestSpeciesThatNoBinSuitsAreNoted(t *testing.T) {
	c := parseAt(t, replaced(t, "    species: red\n", "    species: [african, alpine]\n")+`species:
  alpine: {temperature: {thrive: 4C..12C, survive: 0C..15C}, moisture: {thrive: 70%..85%, survive: 60%..90%}, cardinal: {min: 0C, best: 9C, max: 15C}}
`, config.ForRun)
	if len(c.Notes) != 1 || !strings.Contains(c.Notes[0].String(), "no temperature suits all of these species") {
		t.Errorf("got %v, want one note about their temperature", c.Notes)
	}
}

func TestRedWormsWhereNoneAreNamed(t *testing.T) {
	c := parseAt(t, replaced(t, "    species: red\n", ""), config.ForRun)
	want := []farm.Share{{Species: "red", Fraction: 1}}
	if diff := cmp.Diff(want, c.Farm.Bins[0].Species); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestSpeciesAndFeeds(t *testing.T) {
	c := parseAt(t, replaced(t, farmName, farmName+`species:
  red: {temperature: {survive: 3C..32C}, moisture: {thrive: 70%..85%}}
  mine: {temperature: {thrive: 15C..25C, survive: 4C..32C}, moisture: {thrive: 70%..85%, survive: 60%..90%}, cardinal: {min: 0C, best: 25C, max: 35C}}
feeds: {grain: 60d, oats: 20d}
`), config.ForRun)

	red, published := c.Farm.Species[0], husbandry.Species()[0]
	published.Temperature.Survive = farm.Band{Low: 3, High: 32}
	// The moisture is the table's own figure, so it is no deviation.
	published.Sources = append(published.Sources, farm.Source{Figure: "temperature bands", Says: "the keeper's own", Where: "this farm's configuration"})
	if diff := cmp.Diff(published, red); diff != "" {
		t.Errorf("red (-want +got):\n%s", diff)
	}
	mine, ok := c.Farm.SpeciesByID("mine")
	if !ok || mine.Name != "mine" || mine.Cardinal.Best != 25 || len(mine.Sources) != 3 {
		t.Errorf("mine: got %+v, %t", mine, ok)
	}
	days := map[string]float64{}
	for _, f := range c.Farm.Feeds {
		days[f.Kind] = f.Days
	}
	if days["grain"] != 60 || days["oats"] != 20 || len(days) != len(husbandry.Feeds())+1 {
		t.Errorf("feeds: got %v", days)
	}
}

func TestDays(t *testing.T) {
	tests := []struct{ by, want string }{
		{"10 Apr", "2026-04-10"}, {"April 10", "2026-04-10"}, {"1 March", "2026-03-01"}, {"28 Feb", "2027-02-28"},
		{"29 Feb", "2028-02-29"}, {"2027-04-10", "2027-04-10"}, {"Apr 10, 2027", "2027-04-10"},
	}
	for _, tt := range tests {
		c := parseAt(t, replaced(t, farmName, farmName+`need: [{castings: 200 L, by: "`+tt.by+`"}]`+"\n"), config.ForRun)
		by := c.Farm.Needs[0].By
		if got := by.Format(time.DateOnly); got != tt.want || by.Hour() != 0 {
			t.Errorf("by %s: got %s, want %s at midnight", tt.by, by, tt.want)
		}
	}
}

// A day that its year has not is refused: no other year stands in for it.
func TestADayThatIsNone(t *testing.T) {
	for _, by := range []string{"29 Feb 2027", "2027-02-29", "Feb 29, 2027", "31 April"} {
		_, err := atDesk.Parse("farm.yaml", []byte(replaced(t, farmName, farmName+`need: [{castings: 200 L, by: "`+by+`"}]`+"\n")), config.ForRun)
		if err == nil || !strings.Contains(err.Error(), "is not a day, such as") {
			t.Errorf("by %s: got %v, want it refused", by, err)
		}
	}
}

func TestADayThatIsOverIsNoted(t *testing.T) {
	c := parseAt(t, replaced(t, farmName, farmName+"need: [{castings: 200 L, by: 2025-04-10}]\n"), config.ForRun)
	if len(c.Notes) != 1 || c.Notes[0].Message != "this day is over" || c.Notes[0].Line != 2 {
		t.Errorf("got notes %v", c.Notes)
	}
}

func TestMachineZoneStandsIn(t *testing.T) {
	c := parseAt(t, replaced(t, "timezone: Europe/London\n", ""), config.ForRun)
	if c.Farm.Location != time.UTC {
		t.Errorf("got %v, want the machine's UTC", c.Farm.Location)
	}
}

func TestSchedules(t *testing.T) {
	week := []time.Weekday{0, 1, 2, 3, 4, 5, 6}
	tests := []struct {
		send string
		want notify.Schedule
	}{
		{"Sat 08:00", notify.Schedule{Days: week[6:], At: 8 * time.Hour}},
		{"wednesday, saturday 7:30", notify.Schedule{Days: []time.Weekday{3, 6}, At: 7*time.Hour + 30*time.Minute}},
		{"daily 23:59", notify.Schedule{Days: week, At: 23*time.Hour + 59*time.Minute}},
	}
	mail := `mail: {server: "127.0.0.1:25", from: a@example.org}` + "\n"
	for _, tt := range tests {
		c := parseAt(t, replaced(t, farmName, farmName+mail+`rounds: {send: "`+tt.send+`", to: keeper@example.org}`+"\n"), config.ForRun)
		if diff := cmp.Diff(tt.want, c.Rounds.Schedule); diff != "" {
			t.Errorf("%s (-want +got):\n%s", tt.send, diff)
		}
	}
}

func TestMailSecurity(t *testing.T) {
	tests := []struct {
		server string
		want   notify.Security
	}{
		{"mail.example.org", notify.StartTLS}, {"mail.example.org:465", notify.TLS},
		{"127.0.0.1:25", notify.Offered}, {"localhost:2525", notify.Offered}, {"[::1]:25", notify.Offered},
	}
	for _, tt := range tests {
		c := parseAt(t, replaced(t, farmName, farmName+`mail: {server: "`+tt.server+`", from: Bins <a@example.org>}`+"\n"), config.ForRun)
		if c.Mail.Security != tt.want {
			t.Errorf("%s: got %s, want %s", tt.server, c.Mail.Security, tt.want)
		}
	}
}

func TestConditionsAreToldOfByName(t *testing.T) {
	c := parseAt(t, replaced(t, farmName, farmName+"tell: [{push: {env: P}, about: [now, sift-ready], bins: bed}]\n"), config.ForRun)
	got := c.Tell[0]
	if !slices.Equal(got.About, []string{"now", "sift-ready"}) || !slices.Equal(got.Bins, []string{"bed"}) {
		t.Errorf("got %+v", got)
	}
}

func TestListenersBeyondLoopbackWithCredentials(t *testing.T) {
	text := replaced(t, brokerAt, `{listen: "0.0.0.0:1883", user: probes, password: {env: P}}`)
	text = strings.Replace(text, farmName, farmName+`page: {listen: ":8338", password: {env: P}, open: [health, metrics]}`+"\n", 1)
	c := parseAt(t, text, config.ForRun)
	if c.Broker.Listen != "0.0.0.0:1883" || c.Broker.ClientID != "" || c.Page.Listen != ":8338" || len(c.Page.Open) != 2 {
		t.Errorf("got broker %+v, page %+v", c.Broker, c.Page)
	}
}

// A margin of what a zone only limits is the zone's, else the bin's, else its
// row's, and never so wide that what is back from one limit is past the other.
func TestMarginsOfLimits(t *testing.T) {
	c := parseAt(t, `
farm: Hillfoot Nursery
broker: {url: "tcp://127.0.0.1:1883"}
journal: {path: /j}
probes:
  gas: {topic: gas, measures: co2}
  load: {topic: load, measures: weight, unit: g}
  sour: {topic: sour, measures: ph}
  salt: {topic: salt, measures: conductivity}
bins:
  tub:
    margin: {co2: 120ppm, conductivity: 50 µS/cm}
    zones:
      all:
        aim: keeping
        probes: [gas, load, sour, salt]
        margin: {conductivity: 0.2 mS/cm}
        limits: {co2: ..1500ppm, weight: 800 g..1200 g, ph: 6.0..8.0, conductivity: ..3 mS/cm}
`, config.ForRun)
	want := map[farm.Quantity]float64{farm.Temperature: 0.5, farm.Moisture: 2, farm.CO2: 120, farm.Weight: 0.1, farm.PH: 0.1, farm.Conductivity: 0.2}
	near := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-9 })
	if diff := cmp.Diff(want, c.Farm.Bins[0].Zones[0].Margin, near); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}
