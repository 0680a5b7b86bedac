package demo_test

import (
	"cmp"
	"strings"
	"testing"
	"time"

	"gopkg.in/yaml.v3"

	"binwatchd/internal/demo"
)

// A nursery is the part of the configuration that must fit what is said.
type nursery struct {
	Broker  struct{ URL string }
	Journal struct{ Path string }
	Page    *struct{ Listen string }
	Probes  map[string]struct{ Topic, Value, Time, Measures, Every string }
	Bins    map[string]struct {
		Ambient string
		Zones   map[string]struct{ Probes []string }
	}
	Places map[string]struct {
		Air  string
		Bins []string
	}
	Need []struct{ By string }
}

func parse(t *testing.T, p demo.Places) nursery {
	t.Helper()
	var n nursery
	if err := yaml.Unmarshal([]byte(demo.New(1, start).YAML(p)), &n); err != nil {
		t.Fatal(err)
	}
	return n
}

func TestYAMLHasThePlaces(t *testing.T) {
	n := parse(t, demo.Places{Broker: "tcp://127.0.0.1:1884", Journal: `/tmp/a "b" \ c.db`, Listen: "127.0.0.1:8338"})
	if n.Broker.URL != "tcp://127.0.0.1:1884" || n.Journal.Path != `/tmp/a "b" \ c.db` || n.Page.Listen != "127.0.0.1:8338" {
		t.Errorf("got %+v", n)
	}
	if n := parse(t, demo.Places{}); n.Page != nil {
		t.Errorf("a page without an address: %+v", n.Page)
	}
	by, err := time.Parse("2 Jan 2006", n.Need[0].By+" 2026")
	if ahead := by.Sub(start); err != nil || ahead < 60*day || ahead > 90*day {
		t.Errorf("castings are wanted by %q: %v", n.Need[0].By, err)
	}
}

// Every probe of the configuration finds its number in something that is said,
// as often as it says; and nothing is said that no probe wants.
func TestYAMLFitsWhatIsSaid(t *testing.T) {
	n := parse(t, demo.Places{Broker: "tcp://127.0.0.1:1884", Journal: "x"})
	h := listen(t, 1, 6)
	wanted := map[string]bool{}
	for id, p := range n.Probes {
		for _, topic := range trays(p.Topic) {
			every := 10 * time.Minute
			if p.Every != "" {
				var err error
				if every, err = time.ParseDuration(p.Every); err != nil {
					t.Fatalf("%s: %v", id, err)
				}
			}
			got, most := len(h.numbers[topic+p.Value]), int(6*day/every)
			if got < most*3/4 || got > most+1 {
				t.Errorf("%s: %s%s was heard %d times in six days, want about %d", id, topic, p.Value, got, most)
			}
			wanted[topic+p.Value], wanted[topic+p.Time] = true, true
		}
	}
	for where := range h.numbers {
		if !wanted[where] {
			t.Errorf("no probe wants %s", where)
		}
	}
}

// trays fills in the named part.
func trays(topic string) []string {
	if !strings.Contains(topic, "{n}") {
		return []string{topic}
	}
	var out []string
	for _, n := range []string{"1", "2", "3"} {
		out = append(out, strings.ReplaceAll(topic, "{n}", n))
	}
	return out
}

func TestYAMLNamesOnlyProbesItHas(t *testing.T) {
	n := parse(t, demo.Places{})
	has := func(id string) bool {
		if _, ok := n.Probes[id]; ok {
			return true
		}
		for _, tray := range []string{"1", "2", "3"} {
			if _, ok := n.Probes[strings.Replace(id, "-"+tray+"-", "-{n}-", 1)]; ok {
				return true
			}
		}
		return false
	}
	if len(n.Bins) != 6 {
		t.Errorf("got %d bins, want six", len(n.Bins))
	}
	airs := map[string]string{} // by bin, or pattern of bins
	for name, room := range n.Places {
		if !has(room.Air) {
			t.Errorf("%s: no probe %q", name, room.Air)
		}
		for _, bin := range room.Bins {
			airs[bin] = room.Air
		}
	}
	for name, bin := range n.Bins {
		air := cmp.Or(bin.Ambient, airs[name], airs[name[:min(4, len(name))]+"*"])
		if !has(air) {
			t.Errorf("bin %s: no probe %q in its air", name, air)
		}
		for zone, z := range bin.Zones {
			for _, id := range z.Probes {
				if !has(id) {
					t.Errorf("zone %s/%s: no probe %q", name, zone, id)
				}
			}
		}
	}
}

// Jots go to bins and zones that exist.
func TestJotsFitTheYAML(t *testing.T) {
	n := parse(t, demo.Places{})
	for _, m := range listen(t, 1, 31).jots {
		place := strings.Split(strings.TrimPrefix(m.Topic, demo.Prefix+"/jot/"), "/")
		bin, ok := n.Bins[place[0]]
		if !ok {
			t.Errorf("%s: no such bin", m.Topic)
		}
		if len(place) > 1 {
			if _, ok := bin.Zones[place[1]]; !ok {
				t.Errorf("%s: no such zone", m.Topic)
			}
		}
	}
}
