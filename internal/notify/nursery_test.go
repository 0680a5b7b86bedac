package notify_test

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/notify"
	"binwatchd/internal/rules"
)

// sheds is an invented nursery of places with so many bins each: three probes to a bin, and one
// in the air of each place. Each place has a gateway.
func sheds(t *testing.T, bins ...int) farm.Farm {
	f := farm.Farm{Name: "Hillfoot Nursery", Units: farm.Metric, Location: london(t), Species: husbandry.Species()}
	probe := func(id, gateway string, q farm.Quantity, u farm.Unit, every time.Duration) farm.Probe {
		return farm.Probe{ID: id, Topic: gateway + "/" + id, Measures: q, Unit: u, Every: every, Via: gateway}
	}
	for i, place := range []string{"linden", "maple", "rowan", "alder"}[:len(bins)] {
		air, gateway := place+"-air", "gw-"+place
		f.Rooms = append(f.Rooms, farm.Room{Name: place, Air: air})
		f.Probes = append(f.Probes, probe(air, gateway, farm.Temperature, farm.Celsius, 10*time.Minute))
		for n := range bins[i] {
			bin := fmt.Sprintf("%s-%02d", place, n+1)
			f.Probes = append(f.Probes, probe(bin+"-t", gateway, farm.Temperature, farm.Celsius, 10*time.Minute),
				probe(bin+"-m", gateway, farm.Moisture, farm.Percent, 10*time.Minute), probe(bin+"-b", gateway, farm.Battery, farm.Volt, time.Hour))
			f.Bins = append(f.Bins, farm.Bin{
				Name: bin, Room: place, Ambient: air, VolumeL: 160, Species: []farm.Share{{Species: [...]string{"african", "african", "african", "african", "blue"}[n%5], Fraction: 1}},
				Zones: []farm.Zone{{
					Name: "all", Aim: farm.Living, Probes: []string{bin + "-t", bin + "-m"}, Share: 1, Patience: 30 * time.Minute,
					Margin:    map[farm.Quantity]float64{farm.Temperature: 0.5, farm.Moisture: 2},
					LookAhead: farm.LookAhead{Heating: 12 * time.Hour, Cooling: 18 * time.Hour, Warming: 18 * time.Hour, Drying: 7 * 24 * time.Hour},
				}},
			})
		}
	}
	return f
}

// A mishap is what happens at the nursery in a night: from when to when of how long a night.
type mishap struct {
	name           string
	from, to, long time.Duration
	cold           string // the place whose heating is off
	silent         string // the gateway that has no power; "*" is all of them
}

var (
	heatingOff  = mishap{name: "heating of one shed off", from: 2 * time.Hour, to: 5 * time.Hour, long: 10 * time.Hour, cold: "linden"}
	gatewayDead = mishap{name: "gateway dead", from: 2 * time.Hour, to: 3 * time.Hour, long: 5 * time.Hour, silent: "gw-linden"}
	powerCut    = mishap{name: "power cut", from: 2 * time.Hour, to: 3 * time.Hour, long: 5 * time.Hour, silent: "*"}
)

// The people of the nursery: by mail, by push what is now, and by mail what nobody has seen.
const ann, push, cleo = "mail:ann@example.org", "push:1", "mail:cleo@example.org"

func (m mishap) on(after time.Duration) bool { return after >= m.from && after < m.to }

// A staff are the people of the nursery, with what each was sent.
type staff struct {
	cfg   notify.Config
	box   *box
	start time.Time

	mu    sync.Mutex
	state *rules.State
	view  farm.View // of this minute
	air   map[string][]farm.Sample
	got   []notify.Carried
}

func (s *staff) look() (farm.View, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if now := time.Now(); now.Sub(s.view.At) >= time.Minute {
		s.view = s.state.Look(now)
		s.view.Intake.Running = true
	}
	return s.view, true
}

// Samples are of the air alone.
func (s *staff) Samples(_ context.Context, bin, zone string, _ farm.Quantity, _, _ time.Time, _ time.Duration) ([]farm.Sample, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	place, _, _ := strings.Cut(bin, "-")
	if zone != "" {
		return nil, nil
	}
	return slices.Clone(s.air[place+"-air"]), nil
}

func (s *staff) Jots(context.Context, string, time.Time, time.Time) ([]farm.Jot, error) {
	return nil, nil
}

func (s *staff) step(e farm.Event) {
	s.mu.Lock()
	changes := s.state.Step(e)
	if len(changes) > 0 {
		s.view = farm.View{}
	}
	if r := e.Reading; strings.HasSuffix(r.Probe, "-air") {
		s.air[r.Probe] = append(s.air[r.Probe], farm.Sample{At: r.At, Min: r.Value, Mean: r.Value, Max: r.Value, N: 1})
	}
	s.mu.Unlock()
	for _, c := range changes {
		s.box.add(notify.OwedFor(s.cfg.Tellers, c, e.Arrived)...)
	}
}

// of lists the letters of one person.
func (s *staff) of(key string) []notify.Carried {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.DeleteFunc(slices.Clone(s.got), func(c notify.Carried) bool { return c.Teller != key })
}

// night lives through a mishap at a farm with the real rules and a real sender.
func night(t *testing.T, m mishap, bins []int, check func(*staff)) {
	synctest.Test(t, func(t *testing.T) {
		f := sheds(t, bins...)
		s := &staff{box: newBox(), start: time.Now(), state: rules.New(&f), air: map[string][]farm.Sample{}}
		s.cfg = notify.Config{
			Farm: f, Now: time.Now, Mail: notify.Mail{MailSettings: notify.MailSettings{Server: "127.0.0.1:25", From: "bins@example.org"}},
			Tellers: notify.Named([]notify.Teller{
				{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{Mail: "ann@example.org"}},
				{Kind: notify.ByPush, URL: "generic://127.0.0.1:9/", TellerSettings: notify.TellerSettings{About: []string{"now"}}},
				{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{Mail: "cleo@example.org", After: 30 * time.Minute}},
			}),
		}
		sender, err := notify.NewSender(s.cfg, notify.Sources{Outbox: s.box, Look: s.look, History: s})
		if err != nil {
			t.Fatal(err)
		}
		notify.Carry(sender, func(c notify.Carried) int {
			text, short := c.Text(), c.Short() // as it stands now
			c.Text, c.Short = func() string { return text }, func() string { return short }
			s.mu.Lock()
			defer s.mu.Unlock()
			s.got = append(s.got, c)
			return 0
		})
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { sender.Run(ctx); close(done) }()
		s.live(&f, m)
		check(s)
		cancel()
		<-done
	})
}

// live has every probe speak at its pace, a little apart from the others.
func (s *staff) live(f *farm.Farm, m mishap) {
	temp := map[string]float64{}
	for after := time.Duration(0); after < m.long; after += time.Minute {
		time.Sleep(time.Until(s.start.Add(after)))
		synctest.Wait()
		s.step(farm.Event{Kind: farm.EventTick, Arrived: s.start.Add(after)})
		for i, p := range f.Probes {
			at := after + time.Duration(i%50)*time.Second
			place, _, _ := strings.Cut(p.ID, "-")
			minute := int(after / time.Minute)
			if p.Measures == farm.Temperature {
				goal, hours := 25.0, 0.5
				if m.cold == place && m.on(after) {
					goal = 3
				}
				if !strings.HasSuffix(p.ID, "-air") {
					goal, hours = cmp.Or(temp[place+"-air"], 25), 0.8+float64(i%7)/10
				}
				was := cmp.Or(temp[p.ID], 25)
				temp[p.ID] = was + (goal-was)*(1-math.Exp(-1/(60*hours)))
			}
			if minute%int(p.Every/time.Minute) != i*7%int(p.Every/time.Minute) || (m.silent == "*" || m.silent != "" && m.silent == p.Via) && m.on(after) {
				continue
			}
			v := map[farm.Quantity]float64{farm.Temperature: temp[p.ID], farm.Moisture: 76, farm.Battery: 4}[p.Measures]
			s.step(farm.Event{Kind: farm.EventReading, Arrived: s.start.Add(at), Reading: farm.Reading{Probe: p.ID, At: s.start.Add(at), Raw: v, Value: v}})
		}
	}
}

// What befalls a whole shed is told in a few letters that name the cause, not in one for each bin.
// Each of two people had 14 letters for the heating, none of which named it, and a line for each
// probe for the gateway and the power.
func TestANightAtTheNursery(t *testing.T) {
	for _, tt := range []struct {
		mishap
		letters map[string]int
		says    string // in each of ann's letters after the first, while it lasts
		in      string // somewhere in ann's letters
	}{
		{
			heatingOff, map[string]int{ann: 8, push: 8, cleo: 8}, "Linden: heating off?", "Linden-05 (blue): too cold at",
		},
		{
			gatewayDead, map[string]int{ann: 2}, "", "Gateway gw-linden: 43 probes silent since 01:59. Linden-01 to 14 are not judged",
		},
		{
			powerCut, map[string]int{ann: 2}, "", "No probe speaks since 01:59. Linden-01 to 14, Maple-01 to 16 and Rowan-01 to 10 are not judged",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			night(t, tt.mishap, []int{14, 16, 10}, func(s *staff) {
				all := ""
				for _, key := range []string{ann, push, cleo} {
					letters, things := s.of(key), 0
					for i, c := range letters {
						said := c.Text()
						if things += len(c.Items); key == push {
							said = c.Short()
						}
						t.Logf("%s, letter %d, %s after the beginning, %d things\n%s", key, i+1, c.At.Sub(s.start), len(c.Items), said)
						if key == ann {
							all += strings.ReplaceAll(said, "\n", " ")
						}
						if key == ann && i > 0 && c.Pressing && !strings.Contains(said, tt.says) {
							t.Errorf("letter %d does not name %q", i+1, tt.says)
						}
					}
					if t.Logf("%s: %s: %d letters about %d things", tt.name, key, len(letters), things); len(letters) != tt.letters[key] {
						t.Errorf("%d letters, want %d", len(letters), tt.letters[key])
					}
				}
				if !strings.Contains(all, tt.in) {
					t.Errorf("ann was never told %q", tt.in)
				}
				if !s.box.settled() {
					t.Errorf("something is owed still")
				}
			})
		})
	}
}

// BenchmarkNight counts the letters that one mishap brings to each of the people of 200 bins
// with 604 probes. It is a test in turn, for only a test has a clock of its own.
func BenchmarkNight(b *testing.B) {
	for _, m := range []mishap{heatingOff, gatewayDead, powerCut} {
		b.Run(m.name, func(b *testing.B) {
			count := func(t *testing.T) {
				night(t, m, []int{50, 50, 50, 50}, func(s *staff) {
					for what, key := range map[string]string{"letters": ann, "pushes": push, "letters-after-30-min": cleo} {
						b.ReportMetric(float64(len(s.of(key))), what)
					}
					things := 0
					for _, c := range s.of(ann) {
						things += len(c.Items)
					}
					b.ReportMetric(float64(things), "things")
				})
			}
			for b.Loop() {
				every := func(string, string) (bool, error) { return true, nil }
				if !testing.RunTests(every, []testing.InternalTest{{Name: m.name, F: count}}) {
					b.Fatal("the night failed")
				}
			}
		})
	}
}
