package acceptancetest

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/rehearse"
)

// Loggers that stood in real ground; testdata/ground/README.md says whose they are.
var Loggers = []string{"a", "b", "c"}

// A Ground is what a logger in real ground has recorded, as messages.
type Ground struct {
	Logger   string
	From, To time.Time
	Soil     quarters // °C, 6 cm under the ground
	Surface  quarters // °C, 2 cm above it; empty where the logger has no such thermometer
	Raw      quarters // moisture, of no unit; likewise
	messages bytes.Buffer
}

// Quarters are numbers, one every quarter of an hour.
type quarters []float64

// Topics on which a logger's numbers are sent.
const (
	soilTopic  = "ground/soil"
	airTopic   = "ground/air"
	moistTopic = "ground/moisture"
)

// ReadGround opens the recording of a logger; tests run two folders below the
// project's.
func ReadGround(logger string) (*Ground, error) {
	f, err := os.Open("../../testdata/ground/logger-" + logger + ".csv.gz")
	if err != nil {
		return nil, fmt.Errorf("open ground: %w", err)
	}
	defer f.Close()
	unzipped, err := gzip.NewReader(f)
	if err != nil {
		return nil, fmt.Errorf("open ground: %w", err)
	}
	g := &Ground{Logger: logger}
	g.messages.WriteString("time,topic,payload\n")
	lines := bufio.NewScanner(unzipped)
	for lines.Scan() {
		if err := g.take(strings.Split(lines.Text(), ";")); err != nil {
			return nil, fmt.Errorf("read ground: logger %s: %w", logger, err)
		}
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("read ground: %w", err)
	}
	return g, nil
}

// take notes one line: time;soil, or time;soil;surface;air;moisture.
func (g *Ground) take(row []string) error {
	at, err := time.Parse("2006-01-02T15:04Z", row[0])
	if err != nil {
		return err
	}
	if g.From.IsZero() {
		g.From = at
	}
	g.To = at
	var v [5]float64
	for i := 1; i < len(row); i++ {
		if v[i], err = strconv.ParseFloat(row[i], 64); err != nil {
			return err
		}
	}
	send := func(topic, number string) {
		fmt.Fprintf(&g.messages, "%s,%s,%s\n", at.Format(time.RFC3339), topic, number)
	}
	g.Soil = append(g.Soil, v[1])
	if len(row) == 5 {
		g.Surface, g.Raw = append(g.Surface, v[2]), append(g.Raw, v[4])
		send(airTopic, row[3])
		send(moistTopic, row[4])
	}
	send(soilTopic, row[1])
	return nil
}

// Weeks is how long the logger recorded.
func (g *Ground) Weeks() float64 { return g.To.Sub(g.From).Hours() / (7 * 24) }

// Rehearse judges the recording by a farm, decoding and doubting included, as the
// daemon would.
func (g *Ground) Rehearse(f *farm.Farm) ([]farm.Change, error) {
	var changes []farm.Change
	r := rehearse.New(rehearse.Config{Farm: f, Prefix: "binwatch", On: func(ch farm.Change) { changes = append(changes, ch) }})
	if err := r.Messages(context.Background(), bytes.NewReader(g.messages.Bytes())); err != nil {
		return nil, fmt.Errorf("rehearse ground: %w", err)
	}
	return changes, nil
}

// Bed is a farm with one bed in the ground of the logger, of worms as they come.
func (g *Ground) Bed(species string) *farm.Farm {
	f := groundFarm()
	z := groundZone("bed", farm.Living)
	f.Probes = append(f.Probes, groundProbe("bed", soilTopic, farm.Temperature))
	b := farm.Bin{Name: "bed", Species: []farm.Share{{Species: species, Fraction: 1}}, VolumeL: 160}
	if g.Raw != nil {
		wet := groundProbe("bed-moisture", moistTopic, farm.Moisture)
		wet.Unit, wet.Calibration = farm.RawUnit, []farm.Point{{Raw: 400, Value: 0}, {Raw: 3600, Value: 100}}
		f.Probes = append(f.Probes, wet, groundProbe("air", airTopic, farm.Temperature))
		z.Probes, b.Ambient = append(z.Probes, wet.ID), "air"
	}
	b.Zones = []farm.Zone{z}
	f.Bins = append(f.Bins, b)
	return f
}

// Banded is a farm with a bed for each of some thrive bands, all in the same
// ground; what they survive lies out of reach.
func (g *Ground) Banded(thrive ...farm.Band) *farm.Farm {
	f := groundFarm()
	for _, band := range thrive {
		id := fmt.Sprintf("%g-to-%g", band.Low, band.High)
		z := groundZone(id, farm.Keeping)
		z.Bands = map[farm.Quantity]farm.Bands{farm.Temperature: {Thrive: band, Survive: farm.Band{Low: -40, High: 60}}}
		f.Probes = append(f.Probes, groundProbe(id, soilTopic, farm.Temperature))
		f.Bins = append(f.Bins, farm.Bin{Name: id, VolumeL: 160, Zones: []farm.Zone{z}})
	}
	return f
}

func groundFarm() *farm.Farm {
	return &farm.Farm{Name: "Hillfoot Nursery", Units: farm.Metric, Location: time.UTC, Species: husbandry.Species(), Feeds: husbandry.Feeds()}
}

func groundProbe(id, topic string, q farm.Quantity) farm.Probe {
	return farm.Probe{ID: id, Topic: topic, Measures: q, Unit: farm.Celsius, Every: 15 * time.Minute}
}

func groundZone(probe string, aim farm.Aim) farm.Zone {
	return farm.Zone{
		Name: "all", Aim: aim, Probes: []string{probe}, Share: 1, Patience: 30 * time.Minute,
		Margin:    map[farm.Quantity]float64{farm.Temperature: 0.5, farm.Moisture: 2},
		LookAhead: farm.LookAhead{Heating: 12 * time.Hour, Drying: 7 * 24 * time.Hour},
	}
}

// Mild lists the changes that are not about harm: those of level and forecast that
// neither reach now nor come back from it.
func Mild(changes []farm.Change) []farm.Change {
	harmed := map[string]bool{} // by episode: it is past survive
	var mild []farm.Change
	for _, ch := range changes {
		was := harmed[ch.Episode]
		harmed[ch.Episode] = ch.Urgency == farm.Now && ch.Change != farm.Eased
		if q := ch.Condition.Quantity(); q != "" && !was && !harmed[ch.Episode] {
			mild = append(mild, ch)
		}
	}
	return mild
}

// Harm counts the changes that are: those to now and back from it.
func Harm(changes []farm.Change) (n int) {
	mild := len(Mild(changes))
	for _, ch := range changes {
		if ch.Condition.Quantity() != "" {
			n++
		}
	}
	return n - mild
}
