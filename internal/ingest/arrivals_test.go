package ingest_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// A gate is what stands at the door of a farm: it marks and learns as the live
// loop does.
type gate struct {
	t        testing.TB
	arrivals *ingest.Arrivals
	at       time.Time
	events   []farm.Event
}

func newGate(t testing.TB) *gate {
	return &gate{t: t, arrivals: ingest.NewArrivals(nursery(tenMinutes)), at: noon}
}

func (g *gate) follow(e farm.Event) {
	e.Arrived = g.at
	g.events = append(g.events, e)
	g.arrivals.Follow(e)
}

func (g *gate) start()                    { g.follow(farm.Event{Kind: farm.EventStart}) }
func (g *gate) link(b farm.Backlog)       { g.follow(farm.Event{Kind: farm.EventLink, Up: true, Backlog: b}) }
func (g *gate) lost()                     { g.follow(farm.Event{Kind: farm.EventLink}) }
func (g *gate) caught()                   { g.follow(farm.Event{Kind: farm.EventCaught}) }
func (g *gate) wait(d time.Duration)      { g.at = g.at.Add(d) }
func (g *gate) air() (uncertain bool)     { return g.say("air") }
func (g *gate) reload(a *ingest.Arrivals) { g.arrivals = a }

// say has a probe speak and tells whether its time is uncertain.
func (g *gate) say(probe string) (uncertain bool) {
	if g.arrivals.Through(g.at) {
		g.caught()
	}
	r := farm.Reading{Probe: probe, At: g.at}
	g.arrivals.Mark(&r, g.at, 0)
	g.follow(farm.Event{Kind: farm.EventReading, Reading: r})
	return r.Uncertain
}

// says has the air probe speak n times, each after a while, and counts those of
// uncertain time.
func (g *gate) says(n int, every func() time.Duration) (uncertain int) {
	for range n {
		g.wait(every())
		if g.air() {
			uncertain++
		}
	}
	return uncertain
}

func steady(d time.Duration) func() time.Duration { return func() time.Duration { return d } }

// A way is one in which probes speak. Each call gives how long it is to the next
// message.
type way struct {
	name string
	next func(r *rand.Rand) func() time.Duration
}

func jittered(d time.Duration, part float64) func(r *rand.Rand) func() time.Duration {
	return func(r *rand.Rand) func() time.Duration {
		return func() time.Duration { return time.Duration(float64(d) * (1 + part*(2*r.Float64()-1))) }
	}
}

// clusters says n numbers at once, then nothing for a while.
func clusters(n int, apart, pause time.Duration) func(r *rand.Rand) func() time.Duration {
	return func(r *rand.Rand) func() time.Duration {
		i := 0
		return func() time.Duration {
			if i++; i%n == 0 {
				return time.Duration(float64(pause) * (0.95 + 0.1*r.Float64()))
			}
			return apart
		}
	}
}

var ways = []way{
	{"ten times a second", jittered(100*time.Millisecond, 0.2)},
	{"every second", jittered(time.Second, 0.2)},
	{"every 3 s", jittered(3*time.Second, 0.2)},
	{"every 5 s", jittered(5*time.Second, 0.1)},
	{"every 10 s", jittered(10*time.Second, 0.1)},
	{"every minute", jittered(time.Minute, 0.1)},
	{"every 10 minutes", jittered(10*time.Minute, 0.1)},
	{"every 10 minutes, now and then not", func(r *rand.Rand) func() time.Duration {
		return func() time.Duration { return 10 * time.Minute * time.Duration(1+max(0, r.IntN(6)-4)) }
	}},
	{"every hour", jittered(time.Hour, 0.1)},
	{"every 6 hours", jittered(6*time.Hour, 0.1)},
	{"three at once every hour", clusters(3, 50*time.Millisecond, time.Hour)},
	{"three within 8 s every hour", clusters(3, 4*time.Second, time.Hour)},
	{"ten at once every hour", clusters(10, 20*time.Millisecond, time.Hour)},
	{"two at once every 10 minutes", clusters(2, time.Millisecond, 10*time.Minute)},
}

// However a probe speaks, if it speaks live its times are certain: whatever the
// keeper has said in `every`, which is ten minutes here.
func TestALiveProbeIsCertainAtAnyPace(t *testing.T) {
	for _, w := range ways {
		t.Run(w.name, func(t *testing.T) {
			for seed := range uint64(20) {
				g := newGate(t)
				g.start()
				g.link(farm.NoBacklog)
				if n := g.says(400, w.next(rand.New(rand.NewPCG(seed, 1)))); n != 0 {
					t.Errorf("seed %d: %d of 400 uncertain, want none", seed, n)
				}
			}
		})
	}
}

// A probe that reports on change, calm at night, costs one uncertain reading
// now and then.
func TestAProbeThatReportsOnChange(t *testing.T) {
	worst := 0
	for seed := range uint64(50) {
		r := rand.New(rand.NewPCG(seed, 2))
		g := newGate(t)
		g.link(farm.NoBacklog)
		n := g.says(600, func() time.Duration {
			if r.IntN(40) == 0 {
				return time.Duration(6+r.IntN(8)) * time.Hour
			}
			return time.Duration(float64(20*time.Second) * (1 + 40*r.ExpFloat64()))
		})
		worst = max(worst, n)
	}
	if worst > 600/20 {
		t.Errorf("%d of 600 uncertain, want one in 20 at most", worst)
	}
}

// A gateway that kept what it heard for two days pours it out at once, or as
// fast as its radio allows, one probe after another or all in turn.
func TestWhatAGatewayKeptIsUncertain(t *testing.T) {
	const silence = 48 * time.Hour
	for _, w := range ways {
		for _, apart := range []time.Duration{time.Millisecond, 20 * time.Millisecond, 200 * time.Millisecond} {
			t.Run(fmt.Sprint(w.name, " poured every ", apart), func(t *testing.T) {
				for seed := range uint64(10) {
					next := w.next(rand.New(rand.NewPCG(seed, 3)))
					g := newGate(t)
					g.link(farm.NoBacklog)
					g.says(300, next)
					kept, spent := 0, time.Duration(0)
					for spent < silence && kept < 2000 {
						spent += next()
						kept++
					}
					g.wait(max(silence, spent))
					if w.name == "ten times a second" && apart > 20*time.Millisecond {
						continue // that is no pour
					}
					if g.air(); kept < 3 { // one or two are no pour
						continue
					}
					if n := g.says(kept-1, steady(apart)); n < kept-1 {
						t.Fatalf("seed %d: %d of the %d after the first uncertain, want all", seed, n, kept-1)
					}
					live := 0
					for range 30 {
						g.wait(next())
						if !g.air() {
							live++
						}
					}
					// A cluster that was torn by the outage may cost its rest.
					if live < 30-9 {
						t.Errorf("seed %d: %d of the 30 after the pour certain, want them to count", seed, live)
					}
				}
			})
		}
	}
}

// The first readings at the probe's own pace count at once.
func TestAfterAPourTheOwnPaceCounts(t *testing.T) {
	for _, every := range []time.Duration{10 * time.Second, time.Minute, 10 * time.Minute, time.Hour} {
		g := newGate(t)
		g.link(farm.NoBacklog)
		g.says(30, steady(every))
		g.wait(48 * time.Hour)
		g.says(200, steady(10*time.Millisecond))
		if n := g.says(20, steady(every)); n != 0 {
			t.Errorf("every %s: %d of 20 uncertain after the pour, want none", every, n)
		}
	}
}

// A probe that was silent and comes back at its pace costs its first reading.
func TestAProbeThatComesBackCostsOneReading(t *testing.T) {
	for _, every := range []time.Duration{2 * time.Second, 10 * time.Second, 10 * time.Minute, time.Hour} {
		g := newGate(t)
		g.link(farm.NoBacklog)
		g.says(30, steady(every))
		g.wait(20 * every)
		g.wait(time.Hour)
		if n := g.says(30, steady(every)); n > 1 {
			t.Errorf("every %s: %d uncertain, want one at most", every, n)
		}
	}
}

// A pace that is changed is learned, either way.
func TestAnotherPaceIsLearned(t *testing.T) {
	cases := []struct {
		was, is, off time.Duration
		most         int
	}{
		{10 * time.Second, 10 * time.Minute, 0, 2},
		{10 * time.Second, 6 * time.Hour, 0, 2},
		{10 * time.Minute, time.Hour, 0, 2},
		{10 * time.Minute, 10 * time.Second, 0, 0},
		{10 * time.Minute, 10 * time.Second, time.Hour, 14}, // new firmware, after an hour on the bench
		{time.Hour, time.Second, 4 * time.Hour, 14},
	}
	for _, tt := range cases {
		g := newGate(t)
		g.link(farm.NoBacklog)
		g.says(40, steady(tt.was))
		g.wait(tt.off)
		if n := g.says(400, steady(tt.is)); n > tt.most {
			t.Errorf("%s to %s after %s: %d of 400 uncertain, want %d at most", tt.was, tt.is, tt.off, n, tt.most)
		}
	}
}

// What a broker queued is uncertain until the marker has come back; what comes
// then counts at once, however soon.
func TestWhatABrokerQueued(t *testing.T) {
	for _, every := range []time.Duration{2 * time.Second, 10 * time.Second, 10 * time.Minute, time.Hour} {
		for _, known := range []int{0, 30} {
			g := newGate(t)
			g.link(farm.NoBacklog)
			g.says(1+known, steady(every))
			g.lost()
			g.wait(12 * time.Hour)
			g.link(farm.Marked)
			if n := g.says(72, steady(3*time.Millisecond)); n != 72 {
				t.Errorf("every %s, %d known: %d of 72 queued uncertain, want all", every, known, n)
			}
			g.caught()
			if n := g.says(30, func() time.Duration { return every }); n != 0 {
				t.Errorf("every %s, %d known: %d of 30 live ones uncertain, want none", every, known, n)
			}
		}
	}
	g := newGate(t)
	g.link(farm.NoBacklog)
	g.says(30, steady(tenMinutes))
	g.lost()
	g.wait(12 * time.Hour)
	g.link(farm.Marked)
	g.says(72, steady(3*time.Millisecond))
	g.caught()
	g.wait(time.Second)
	if g.air() {
		t.Error("the first live one, a second after the backlog, is uncertain; it must count")
	}
}

// What waited for less than the probe's pace is taken as measured on arrival.
func TestALinkLostForSeconds(t *testing.T) {
	for _, every := range []time.Duration{10 * time.Second, 10 * time.Minute, time.Hour} {
		g := newGate(t)
		g.link(farm.NoBacklog)
		g.says(30, steady(every))
		g.wait(every - 4*time.Second)
		g.lost()
		g.wait(5 * time.Second)
		g.link(farm.Marked)
		if g.air() {
			t.Errorf("every %s: uncertain after a link lost for 5 s", every)
		}
		g.caught()
		if n := g.says(10, steady(every)); n != 0 {
			t.Errorf("every %s: %d of 10 uncertain afterwards", every, n)
		}
	}
}

// Where no marker is let through, the probe's own pace decides; where none comes
// back, it does so after half a minute without a sign of a backlog.
func TestWithoutAMarkerThePaceDecides(t *testing.T) {
	for _, b := range []farm.Backlog{farm.Unmarked, farm.Marked} {
		for _, every := range []time.Duration{2 * time.Second, 10 * time.Second, 10 * time.Minute} {
			g := newGate(t)
			g.link(farm.NoBacklog)
			g.says(30, steady(every))
			g.lost()
			g.wait(12 * time.Hour)
			g.link(b)
			if n := g.says(72, steady(3*time.Millisecond)); n != 72 {
				t.Errorf("%d, every %s: %d of 72 queued uncertain, want all", b, every, n)
			}
			most := 0
			if b == farm.Marked {
				most = int(29 * time.Second / every)
			}
			if n := g.says(40, steady(every)); n > most {
				t.Errorf("%d, every %s: %d of 40 uncertain after the queue, want %d at most", b, every, n, most)
			}
		}
	}
}

// The newcomer whose broker lets no marker through, and who has restarted: no
// pace is known, many probes speak, the link is never quiet for long.
func TestABusyFarmWithoutAMarker(t *testing.T) {
	g := newGate(t)
	g.start()
	g.link(farm.Marked)
	probes := []string{"air", "bed-top", "bed-deep"}
	late := 0
	for i := range 1000 {
		g.wait(3 * time.Second)
		if g.say(probes[i%len(probes)]) && g.at.Sub(noon) > time.Minute {
			late++
		}
	}
	if late != 0 {
		t.Errorf("%d uncertain after the first minute, want none", late)
	}
}

// A restart in the middle of a backlog does not make the rest of it certain.
func TestARestartInABacklog(t *testing.T) {
	g := newGate(t)
	g.link(farm.NoBacklog)
	g.says(30, steady(tenMinutes))
	g.lost()
	g.wait(12 * time.Hour)
	g.link(farm.Marked)
	g.says(40, steady(3*time.Millisecond))
	g.reload(replayed(g.t, g.events, 35))
	g.wait(2 * time.Second)
	g.start()
	g.link(farm.Marked)
	if n := g.says(32, steady(3*time.Millisecond)); n != 32 {
		t.Errorf("%d of the 32 that were left uncertain, want all", n)
	}
}

func TestJotsThatWaited(t *testing.T) {
	g := newGate(t)
	g.link(farm.NoBacklog)
	g.says(3, steady(tenMinutes))
	if g.arrivals.Unsure(g.at, 0) {
		t.Error("a live jot is unsure")
	}
	g.lost()
	g.wait(5 * time.Second)
	g.link(farm.Marked)
	if g.arrivals.Unsure(g.at, 0) {
		t.Error("a jot that waited for seconds is unsure")
	}
	g.lost()
	g.wait(5 * time.Hour)
	g.link(farm.Marked)
	if !g.arrivals.Unsure(g.at, 0) {
		t.Error("a jot that waited for hours is sure")
	}
	if since := g.at.Sub(g.arrivals.Earliest()); since < 5*time.Hour || since > 5*time.Hour+time.Minute {
		t.Errorf("sent at the earliest %s ago, want five hours", since)
	}
	g.caught()
	if g.arrivals.Unsure(g.at, 0) {
		t.Error("a jot after the backlog is unsure")
	}
	if !g.arrivals.Unsure(g.at, time.Hour) {
		t.Error("a jot that we ourselves held for an hour is sure")
	}
}

func TestArrivalsLeaveTheRestAlone(t *testing.T) {
	cases := []struct {
		name string
		r    farm.Reading
		want bool
	}{
		{"stamped by the device", farm.Reading{Probe: "air", Stamped: true}, false},
		{"misdated by the device", farm.Reading{Probe: "air", Misdated: true}, true},
		{"stored by the broker", farm.Reading{Probe: "air", Retained: true}, true},
		{"stored by the broker, stamped", farm.Reading{Probe: "air", Retained: true, Stamped: true}, false},
		{"of an unknown probe", farm.Reading{Probe: "stranger"}, false},
	}
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			g := newGate(t)
			g.link(farm.NoBacklog)
			g.says(5, steady(tenMinutes))
			g.lost()
			g.wait(5 * time.Hour)
			g.link(farm.Marked)
			tt.r.At = g.at
			g.arrivals.Mark(&tt.r, g.at, 0)
			if tt.r.Uncertain != tt.want {
				t.Errorf("uncertain %v, want %v", tt.r.Uncertain, tt.want)
			}
		})
	}
}

func TestThePaceIsTold(t *testing.T) {
	for _, tt := range []struct {
		way  string
		want time.Duration
	}{
		{"every second", time.Second}, {"every 3 s", 3 * time.Second}, {"every 10 s", 10 * time.Second}, {"every 10 minutes", tenMinutes},
		{"every hour", time.Hour}, {"three at once every hour", time.Hour}, {"ten at once every hour", time.Hour},
	} {
		for _, w := range ways {
			if w.name != tt.way {
				continue
			}
			g := newGate(t)
			g.says(200, w.next(rand.New(rand.NewPCG(1, 4))))
			if got, _ := g.arrivals.Pace("air"); got < tt.want*8/10 || got > tt.want*12/10 {
				t.Errorf("%s: got a pace of %s", tt.way, got)
			}
		}
	}
}

// replayed gives the memory after the events, by way of a snapshot after some.
func replayed(t testing.TB, events []farm.Event, cut int) *ingest.Arrivals {
	a := ingest.NewArrivals(nursery(tenMinutes))
	for i, e := range events {
		if i == cut {
			b, err := a.Save()
			if err != nil {
				t.Fatal(err)
			}
			a = ingest.NewArrivals(nursery(tenMinutes))
			if err := a.Load(b, farm.Renames{}); err != nil {
				t.Fatal(err)
			}
		}
		a.Follow(e)
	}
	return a
}

// Whatever has happened and wherever the snapshot was taken, a replay gives the
// memory that life has given.
func TestAReplayGivesTheSameArrivals(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		g := newGate(t)
		for range rapid.IntRange(1, 200).Draw(rt, "events") {
			g.wait(time.Duration(rapid.SampledFrom([]int{5, 3_000, 10_000, 600_000, 8_000_000}).Draw(rt, "after")) * time.Millisecond)
			switch rapid.IntRange(0, 12).Draw(rt, "what") {
			case 0:
				g.start()
			case 1:
				g.lost()
			case 2:
				g.link(farm.Backlog(rapid.IntRange(0, 2).Draw(rt, "backlog")))
			case 3:
				g.caught()
			case 4:
				g.follow(farm.Event{Kind: farm.EventClock, Shift: time.Hour, From: noon.Add(time.Hour)})
			default:
				g.say(rapid.SampledFrom([]string{"air", "bed-top"}).Draw(rt, "probe"))
			}
		}
		again := replayed(t, g.events, rapid.IntRange(0, len(g.events)).Draw(rt, "cut"))
		want, err := g.arrivals.Save()
		if err != nil {
			rt.Fatal(err)
		}
		got, err := again.Save()
		if err != nil {
			rt.Fatal(err)
		}
		if diff := cmp.Diff(string(want), string(got)); diff != "" {
			rt.Errorf("memory differs (-life +replay):\n%s", diff)
		}
	})
}
