package influx_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/influxdata/influxdb-client-go/v2/api/write"
	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
)

func TestLineOfAReading(t *testing.T) {
	at := time.UnixMilli(1741000000123)
	tests := []struct {
		name string
		r    farm.Reading
		want string
	}{
		{"temperature", farm.Reading{Probe: "bed-t", Value: 18.25, Raw: 64.85},
			`bin_levels,bin=bed,farm=Hillfoot\ Nursery,probe=bed-t,zone=near temperature_c=18.25,raw=64.85 1741000000123`},
		{"moisture", farm.Reading{Probe: "bed-m", Value: 71, Raw: 1680},
			`bin_levels,bin=bed,farm=Hillfoot\ Nursery,probe=bed-m,zone=near moisture_pct=71,raw=1680 1741000000123`},
		{"a room's air belongs to no zone", farm.Reading{Probe: "glass-air", Value: -3.5, Raw: -3.5},
			`bin_levels,farm=Hillfoot\ Nursery,place=glass-air,probe=glass-air temperature_c=-3.5,raw=-3.5 1741000000123`},
		{"battery in volts", farm.Reading{Probe: "crate-b", Value: 3.71, Raw: 3710},
			`bin_levels,farm=Hillfoot\ Nursery,probe=crate-b battery_v=3.71,raw=3710 1741000000123`},
		{"battery in percent", farm.Reading{Probe: "crate-pct", Value: 80, Raw: 0.8},
			`bin_levels,farm=Hillfoot\ Nursery,probe=crate-pct battery_pct=80,raw=0.8 1741000000123`},
		{"a doubted reading gives no climate", farm.Reading{Probe: "bed-t", Value: 85, Raw: 185, Doubt: farm.FaultCode},
			`bin_levels,bin=bed,farm=Hillfoot\ Nursery,probe=bed-t,zone=near raw=185,doubt="fault code" 1741000000123`},
		{"not a number", farm.Reading{Probe: "bed-t", Value: math.NaN(), Raw: math.Inf(1), Doubt: farm.NotANumber},
			`bin_levels,bin=bed,farm=Hillfoot\ Nursery,probe=bed-t,zone=near doubt="not a number" 1741000000123`},
		{"believed but not a number", farm.Reading{Probe: "bed-t", Value: math.NaN(), Raw: math.NaN()},
			`bin_levels,bin=bed,farm=Hillfoot\ Nursery,probe=bed-t,zone=near doubt="not a number" 1741000000123`},
		{"of uncertain time", farm.Reading{Probe: "bed-t", Value: 18, Raw: 18, Uncertain: true},
			`bin_levels,bin=bed,farm=Hillfoot\ Nursery,probe=bed-t,zone=near temperature_c=18,raw=18,time_uncertain=true 1741000000123`},
		{"a retained value", farm.Reading{Probe: "bed-t", Value: 18, Raw: 18, Retained: true},
			`bin_levels,bin=bed,farm=Hillfoot\ Nursery,probe=bed-t,zone=near temperature_c=18,raw=18,time_uncertain=true 1741000000123`},
		{"a probe that is gone", farm.Reading{Probe: "old one", Value: 18, Raw: 64},
			`bin_levels,farm=Hillfoot\ Nursery,probe=old\ one raw=64 1741000000123`},
	}
	lines := influx.NewLines(hillfoot(), "")
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tt.r.At = at.Add(999 * time.Microsecond) // below the precision
			got := string(lines.AppendReading([]byte("before\n"), tt.r, nil))
			if d := cmp.Diff("before\n"+tt.want+"\n", got); d != "" {
				t.Error(d)
			}
		})
	}
}

// What stands in a place says so, the probe in its air as well.
func TestLinesOfAPlace(t *testing.T) {
	f, at := hillfoot(), time.UnixMilli(1741000000000)
	for i := range f.Bins {
		if f.Bins[i].Name == "bed" {
			f.Bins[i].Room = "glass house"
		}
	}
	f.Rooms = []farm.Room{{Name: "glass house", Air: "glass-air"}}
	f.Probes = append(f.Probes, farm.Probe{ID: "store-air", Measures: farm.Temperature})
	f.Bins = append(f.Bins, farm.Bin{Name: "rack", Ambient: "store-air"})
	l := influx.NewLines(f, "")
	for _, tt := range []struct{ name, got, want string }{
		{"reading", string(l.AppendReading(nil, farm.Reading{At: at, Probe: "bed-t", Value: 18.25, Raw: 18.25}, nil)),
			`bin_levels,bin=bed,farm=Hillfoot\ Nursery,place=glass\ house,probe=bed-t,zone=near temperature_c=18.25,raw=18.25 1741000000000`},
		{"air", string(l.AppendReading(nil, farm.Reading{At: at, Probe: "glass-air", Value: 9, Raw: 9}, nil)),
			`bin_levels,farm=Hillfoot\ Nursery,place=glass\ house,probe=glass-air temperature_c=9,raw=9 1741000000000`},
		{"air that no place is named for", string(l.AppendReading(nil, farm.Reading{At: at, Probe: "store-air", Value: 9, Raw: 9}, nil)),
			`bin_levels,farm=Hillfoot\ Nursery,place=store-air,probe=store-air temperature_c=9,raw=9 1741000000000`},
		{"change", string(l.AppendChange(nil, farm.Change{At: at, Bin: "bed", Zone: "near", Condition: farm.TooCold, Change: farm.Raised, Urgency: farm.Now, Text: "cold", Episode: "e"})),
			`bin_marks,bin=bed,change=raised,condition=too-cold,farm=Hillfoot\ Nursery,place=glass\ house,urgency=now,zone=near raised=1,standing=3,text="cold",episode="e" 1741000000000`},
		{"jot", string(l.AppendJot(nil, farm.Jot{At: at, Bin: "bed", What: farm.Turned}, 0)),
			`bin_marks,bin=bed,farm=Hillfoot\ Nursery,jot=turned,place=glass\ house jots=1,text="turned" 1741000000000`},
		{"elsewhere", string(l.AppendJot(nil, farm.Jot{At: at, Bin: "crate", What: farm.Turned}, 0)),
			`bin_marks,bin=crate,farm=Hillfoot\ Nursery,jot=turned jots=1,text="turned" 1741000000000`},
	} {
		if d := cmp.Diff(tt.want+"\n", tt.got); d != "" {
			t.Errorf("%s: %s", tt.name, d)
		}
	}
}

// A keeper's own name for the readings is used, whatever is in it.
func TestLinesUnderAnotherName(t *testing.T) {
	r := farm.Reading{Probe: "bed-m", Value: 71, Raw: 1680, At: time.UnixMilli(5)}
	for name, want := range map[string]string{"bin_climate": "bin_climate,", "my bins, all": `my\ bins\,\ all,`, `bins\`: "bins/,", "": "bin_levels,"} {
		if got := string(influx.NewLines(hillfoot(), name).AppendReading(nil, r, nil)); !strings.HasPrefix(got, want+"bin=bed,") {
			t.Errorf("%q: got %s", name, got)
		}
	}
}

// A believed reading says what its zone is held to, in the reading's own unit.
func TestLinesSayTheLimits(t *testing.T) {
	f := hillfoot()
	bed := &f.Bins[0]
	bed.Zones[0].Bands = map[farm.Quantity]farm.Bands{farm.Temperature: {Thrive: farm.Band{Low: 15, High: 25}, Survive: farm.Band{Low: 4, High: 35}}}
	bed.Zones[1].Probes = []string{"far-m", "far-co2"}
	bed.Zones[1].Limits = map[farm.Quantity]farm.Band{farm.CO2: {Low: 0, High: 2000}}
	f.Probes = append(f.Probes, farm.Probe{ID: "far-m", Measures: farm.Moisture}, farm.Probe{ID: "far-co2", Measures: farm.CO2})
	l := influx.NewLines(f, "")
	for _, tt := range []struct {
		probe, want string
		doubt       farm.Doubt
	}{
		{probe: "bed-t", want: "temperature_c=20,temperature_c_thrive_low=15,temperature_c_thrive_high=25,temperature_c_survive_low=4,temperature_c_survive_high=35,raw=20 0\n"},
		{probe: "bed-t", doubt: farm.FaultCode, want: "raw=20,doubt=\"fault code\" 0\n"},
		{probe: "bed-m", want: "moisture_pct=20,raw=20 0\n"}, // no worms, no bands
		{probe: "far-m", want: "moisture_pct=20,moisture_pct_thrive_low=35,moisture_pct_thrive_high=45,moisture_pct_survive_low=28,moisture_pct_survive_high=75,raw=20 0\n"},
		{probe: "far-co2", want: "co2_ppm=20,co2_ppm_limits_low=0,co2_ppm_limits_high=2000,raw=20 0\n"},
		{probe: "glass-air", want: "temperature_c=20,raw=20 0\n"},
	} {
		line := string(l.AppendReading(nil, farm.Reading{Probe: tt.probe, Value: 20, Raw: 20, Doubt: tt.doubt, At: time.UnixMilli(0)}, nil))
		if !strings.HasSuffix(line, " "+tt.want) {
			t.Errorf("%s: got %s, want it to end in %s", tt.probe, line, tt.want)
		}
	}
}

func TestLineOfAMark(t *testing.T) {
	at := time.UnixMilli(1741000000000)
	l := influx.NewLines(hillfoot(), "")
	tests := []struct {
		name, got, want string
	}{
		{"raised", string(l.AppendChange(nil, farm.Change{At: at, Bin: "bed", Zone: "near", Condition: farm.TooHot, Change: farm.Raised,
			Urgency: farm.Now, Text: `31 °C: "red" suffers \ now` + "\nsecond line", Episode: "e1"})),
			`bin_marks,bin=bed,change=raised,condition=too-hot,farm=Hillfoot\ Nursery,urgency=now,zone=near raised=1,standing=3,text="31 °C: \"red\" suffers \\ now second line",episode="e1" 1741000000000`},
		{"foreseen", string(l.AppendChange(nil, farm.Change{At: at, Bin: "bed", Zone: "near", Condition: farm.Drying, Change: farm.Raised,
			Urgency: farm.Soon, Text: "drying", Episode: "e3", Forecast: &farm.Forecast{Crosses: at.Add(36 * time.Hour), Earliest: at.Add(24 * time.Hour)}})),
			`bin_marks,bin=bed,change=raised,condition=drying,farm=Hillfoot\ Nursery,urgency=soon,zone=near raised=1,standing=1,crosses_h=36,earliest_h=24,text="drying",episode="e3" 1741000000000`},
		{"eased, of a probe", string(l.AppendChange(nil, farm.Change{At: at, Probe: "bed-m", Condition: farm.Silent, Change: farm.Eased,
			Urgency: farm.Today, Text: "speaks again", Episode: "e2"})),
			`bin_marks,change=eased,condition=silent,farm=Hillfoot\ Nursery,probe=bed-m,urgency=today raised=0,standing=0,text="speaks again",episode="e2" 1741000000000`},
		{"fed", string(l.AppendJot(nil, farm.Jot{At: at, Bin: "bed", Zone: "near", What: farm.Fed, Kg: 2, Of: "apple, pulp=wet", By: "mqtt"}, 0)),
			`bin_marks,bin=bed,farm=Hillfoot\ Nursery,jot=fed,zone=near jots=1,kg=2,text="fed 2 kg of apple, pulp=wet",of="apple, pulp=wet",by="mqtt" 1741000000000`},
		{"fed the same at the same instant", string(l.AppendJot(nil, farm.Jot{At: at, Bin: "bed", What: farm.Fed, Kg: 2}, 1)),
			`bin_marks,again=1,bin=bed,farm=Hillfoot\ Nursery,jot=fed jots=1,kg=2,text="fed 2 kg" 1741000000000`},
		{"of one of two quantities, after three hours", string(l.AppendChange(nil, farm.Change{At: at, Bin: "bed", Zone: "near", Condition: farm.PastLimit, Quantity: farm.CO2,
			Change: farm.Eased, Urgency: farm.Today, Text: "aired", Episode: "e4", Since: at.Add(-3 * time.Hour)})),
			`bin_marks,bin=bed,change=eased,condition=past-limit,farm=Hillfoot\ Nursery,quantity=co2,urgency=today,zone=near raised=0,standing=0,lasted_h=3,text="aired",episode="e4" 1741000000000`},
		{"struck", string(l.AppendStrike(nil, farm.Jot{At: at, Bin: "bed", What: farm.Fed, Kg: 2}, 1)),
			`bin_marks,again=1,bin=bed,farm=Hillfoot\ Nursery,jot=fed jots=0,kg=0,text="struck: fed 2 kg" 1741000000000`},
		{"sifted", string(l.AppendJot(nil, farm.Jot{At: at, Bin: "bed", What: farm.Sifted, Litres: 8, To: "crate"}, 0)),
			`bin_marks,bin=bed,farm=Hillfoot\ Nursery,jot=sifted,to=crate jots=1,litres=8,text="sifted 8 L to crate" 1741000000000`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if d := cmp.Diff(tt.want+"\n", tt.got); d != "" {
				t.Error(d)
			}
		})
	}
}

// TestLinesAreTheClientsOwn compares with the encoder of InfluxDB's client for
// every name it can write. What it cannot write is left to the test with a server.
func TestLinesAreTheClientsOwn(t *testing.T) {
	name := rapid.StringMatching(`[ -~äß°€]{0,8}[a-z,= "]`)
	rapid.Check(t, func(t *rapid.T) {
		f := farm.Farm{Name: name.Draw(t, "farm"), Probes: []farm.Probe{{ID: name.Draw(t, "probe"), Measures: farm.Moisture}}}
		f.Bins = []farm.Bin{{Name: name.Draw(t, "bin"), Zones: []farm.Zone{{Name: name.Draw(t, "zone"), Probes: []string{f.Probes[0].ID}}}}}
		r := farm.Reading{Probe: f.Probes[0].ID, Value: float64(rapid.IntRange(-1e9, 1e9).Draw(t, "thousandths")) / 1000, Raw: 1,
			At: time.UnixMilli(rapid.Int64Range(0, 4e12).Draw(t, "ms"))}
		p := write.NewPoint("bin_levels", map[string]string{"farm": f.Name, "probe": r.Probe, "bin": f.Bins[0].Name, "zone": f.Bins[0].Zones[0].Name},
			map[string]any{"moisture_pct": r.Value, "raw": r.Raw}, r.At)
		want := write.PointToLineProtocol(p, time.Millisecond)
		got := string(influx.NewLines(f, "").AppendReading(nil, r, nil))
		if got != want {
			t.Fatalf("got  %q\nwant %q", got, want)
		}
	})
}
