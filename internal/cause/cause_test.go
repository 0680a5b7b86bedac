package cause_test

import (
	"strings"
	"testing"
	"time"

	"binwatchd/internal/cause"
	"binwatchd/internal/farm"
)

var now = time.Date(2026, 1, 8, 17, 40, 0, 0, time.UTC)

// hall is a farm of one bin each, by name, in a place each; probes speak every ten minutes
// through a gateway: "bin:place" and "probe:gateway".
func hall(bins, probes []string) *farm.Farm {
	f := &farm.Farm{Units: farm.Metric, Location: time.UTC}
	for _, b := range bins {
		name, room, _ := strings.Cut(b, ":")
		if room != "" && !f.HasRoom(room) {
			f.Rooms = append(f.Rooms, farm.Room{Name: room})
		}
		f.Bins = append(f.Bins, farm.Bin{Name: name, Room: room, Zones: []farm.Zone{{Name: "all"}}})
	}
	for _, p := range probes {
		id, via, _ := strings.Cut(p, ":")
		f.Probes = append(f.Probes, farm.Probe{ID: id, Via: via, Measures: farm.Temperature, Every: 10 * time.Minute})
	}
	return f
}

func raised(c farm.Condition, u farm.Urgency, bins ...string) (all []farm.Standing) {
	for _, b := range bins {
		all = append(all, farm.Standing{Episode: string(c) + "-" + b, Bin: b, Zone: "all", Condition: c, Urgency: u, Since: now})
	}
	return all
}

// heard is a view in which probes were heard so many minutes ago.
func heard(f *farm.Farm, minutes ...int) *farm.View {
	v := &farm.View{At: now, Intake: farm.IntakeView{Running: true, Connected: true}}
	for i, m := range minutes {
		p := farm.ProbeView{ID: f.Probes[i].ID}
		if m >= 0 {
			p.Arrived = now.Add(-time.Duration(m) * time.Minute)
		}
		v.Probes = append(v.Probes, p)
	}
	return v
}

func TestOneFallOfTheAirIsOneCause(t *testing.T) {
	f := hall([]string{"a:linden", "b:linden", "c:linden", "d:maple", "e:maple", "f"}, nil)
	all := append(raised(farm.TooCold, farm.Now, "b"), raised(farm.Cooling, farm.Today, "a", "b", "d")...)
	all = append(all, raised(farm.TooHot, farm.Now, "e")...)
	all = append(all, raised(farm.TooDry, farm.Now, "a", "b")...)
	got := cause.Find(f, &farm.View{At: now}, all)
	if len(got) != 1 || got[0].Air != "linden" || len(got[0].Facts) != 2 || len(got[0].Covered) != 1 {
		t.Fatalf("got %+v", got)
	}
	said := got[0].Say(func(string) cause.Heard { return cause.Unheard }, &cause.Air{Value: 4, Limit: 10, Since: now.Add(-time.Hour)})
	if want := "Air 4 °C, below 10 °C since 16:40; 1 bin in danger of cold; 1 bin cooling down"; said.Title != "Linden: heating off?" || said.Brief != want {
		t.Errorf("said %q, %q; want %q", said.Title, said.Brief, want)
	}
}

// A bin that heats by itself is no matter of its air.
func TestWhatHeatsByItselfSharesNoCause(t *testing.T) {
	f := hall([]string{"a:linden", "b:linden"}, nil)
	all := append(raised(farm.TooHot, farm.Now, "a", "b"), raised(farm.Heating, farm.Now, "a")...)
	if got := cause.Find(f, &farm.View{At: now, Standing: all}, all); len(got) != 0 {
		t.Errorf("got %+v", got)
	}
}

func TestProbesThatNoLongerSpeak(t *testing.T) {
	six := []string{"a:gw1", "b:gw1", "c:gw2", "d:gw2", "e", "f"}
	tests := []struct {
		name   string
		ago    []int // minutes since each was heard; -1: never
		silent string
		down   bool
		want   string // fault, and which probes; one cause after the other
	}{
		{"all", []int{32, 29, 25, 24, 28, 23}, "a", false, "2 a b c d e f"},
		{"the broker", []int{32, 29, 25, 24, 28, 23}, "a", true, "1 a b c d e f"},
		{"a gateway", []int{32, 27, 5, 6, 7, 8}, "a", false, "3 a b"},
		{"half of a gateway's", []int{32, 7, 5, 6, 7, 8}, "a", false, ""},
		{"two without a gateway, together", []int{5, 6, 7, 8, 32, 27}, "e", false, "4 e f"},
		{"two without a gateway, hours apart", []int{5, 6, 7, 8, 32, 400}, "ef", false, ""},
		{"never heard ones have not fallen silent", []int{-1, -1, 5, 6, 7, 8}, "ab", false, ""},
		{"a gateway beside ones never heard", []int{32, 27, -1, -1, -1, 8}, "acde", false, "3 a b"},
		{"one that is called silent and speaks", []int{3, 7, 5, 6, 7, 8}, "ab", false, ""},
	}
	for _, tt := range tests {
		f := hall(nil, six)
		v := heard(f, tt.ago...)
		v.Intake.Connected = !tt.down
		var all []farm.Standing
		for _, id := range strings.Split(tt.silent, "") {
			all = append(all, farm.Standing{Episode: "silent-" + id, Probe: id, Condition: farm.Silent, Urgency: farm.Today})
		}
		var got []string
		for _, c := range cause.Find(f, v, all) {
			got = append(got, string(rune('0'+int(c.Fault)))+" "+strings.Join(c.Probes, " "))
		}
		if said := strings.Join(got, "; "); said != tt.want {
			t.Errorf("%s: got %q, want %q", tt.name, said, tt.want)
		}
	}
}

// A letter about a gateway speaks of all its probes, before each is called silent.
func TestWhichProbesALetterNamed(t *testing.T) {
	f := hall(nil, []string{"a:gw1", "b:gw1", "slow:gw1", "other"})
	f.Probes[2].Every = time.Hour
	v := heard(f, 32, 25, 50, 1)
	all := []farm.Standing{{Episode: "silent-a", Probe: "a", Condition: farm.Silent}}
	c := cause.Find(f, v, all)
	if len(c) != 1 || c[0].Fault != cause.Gateway || len(c[0].Probes) != 3 {
		t.Fatalf("got %+v", c)
	}
	for probe, want := range map[string]bool{"a": true, "b": true, "slow": true, "other": false} {
		if got := c[0].Named(probe, now); got != want {
			t.Errorf("%s named: %v", probe, got)
		}
	}
	if c[0].Named("slow", now.Add(-10*time.Minute)) || c[0].Named("b", now.Add(-10*time.Minute)) || !c[0].Named("a", now.Add(-10*time.Minute)) {
		t.Error("ten minutes ago only a had missed its time")
	}
}

func TestTheAir(t *testing.T) {
	var air []farm.Sample
	for i, v := range []float64{12, 9, 12, 11, 8, 6, 4} {
		air = append(air, farm.Sample{At: now.Add(time.Duration(i-7) * time.Hour), Mean: v})
	}
	if since, ok := cause.AirSince(air, 10, farm.Below); !ok || !since.Equal(now.Add(-3*time.Hour)) {
		t.Errorf("below since %s, %v", since, ok)
	}
	if _, ok := cause.AirSince(air, 3, farm.Below); ok {
		t.Error("4 °C is not below 3 °C")
	}
	if _, ok := cause.AirSince(air, 20, farm.Below); ok {
		t.Error("it is not known when it was last above 20 °C")
	}
	if cause.Usual(air, now, 4, farm.Below) {
		t.Error("4 °C was called usual by the same night")
	}
	if !cause.Usual(air, now.Add(20*time.Hour), 5, farm.Below) {
		t.Error("5 °C a day later was not called usual")
	}
}
