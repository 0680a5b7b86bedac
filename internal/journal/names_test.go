package journal_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"github.com/google/go-cmp/cmp"
)

// yardOf is a farm of bins of one zone with one probe, as a test tells it: "c was b", whose
// probe c-t was b-t.
func yardOf(bins ...string) *farm.Farm {
	f := &farm.Farm{Name: "Hillfoot Nursery", Location: time.UTC}
	for _, text := range bins {
		name, was, _ := strings.Cut(text, " was ")
		b := farm.Bin{Name: name, Zones: []farm.Zone{{Name: "all", Aim: farm.Living, Probes: []string{name + "-t"}}}}
		p := farm.Probe{ID: name + "-t", Measures: farm.Temperature}
		for _, w := range strings.Fields(was) {
			b.Was = append(b.Was, w)
			p.Was = append(p.Was, w+"-t")
		}
		f.Bins, f.Probes = append(f.Bins, b), append(f.Probes, p)
	}
	return f
}

// A yard is a journal that lives through farms, one after another.
type yard struct {
	path string
	t    *testing.T
	j    *journal.Journal
	at   time.Time
}

func newYard(t *testing.T) *yard {
	path := newPath(t)
	j, err := journal.Open(context.Background(), config(path))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	return &yard{path, t, j, start}
}

// live puts a farm in force and has each of its bins fed, hushed and too hot under its
// name of then: of the kind of food that says who it was.
func (y *yard) live(f *farm.Farm, food ...string) {
	y.t.Helper()
	if err := y.j.SetFarm(context.Background(), f); err != nil {
		y.t.Fatal(err)
	}
	for i, b := range f.Bins {
		y.at = y.at.Add(time.Hour)
		if i >= len(food) || food[i] == "" {
			continue
		}
		r := reading(b.Name+"-t", y.at, float64(len(food[i])), float64(len(food[i])))
		batch := &journal.Batch{
			Entries: []journal.Entry{
				{Event: farm.Event{Kind: farm.EventJot, Arrived: y.at, Jot: farm.Jot{Bin: b.Name, Zone: "all", What: farm.Fed, Of: food[i], At: y.at}}},
				{Event: r},
				{Event: farm.Event{Kind: farm.EventHush, Arrived: y.at, Hush: farm.Hush{Bin: b.Name, Until: y.at.Add(time.Hour)}}},
			},
			Changes: []journal.Change{{Entry: 1, Change: farm.Change{At: y.at, Bin: b.Name, Zone: "all", Condition: farm.TooHot, Change: farm.Raised, Episode: food[i]}}},
		}
		if err := y.j.Append(context.Background(), batch); err != nil {
			y.t.Fatal(err)
		}
	}
}

// of tells what a bin was fed with in all its life, from its jots, and fails where its
// curve, its changes and the replay do not tell the same.
func (y *yard) of(bin string) string {
	y.t.Helper()
	ctx, from, to := context.Background(), start.AddDate(-1, 0, 0), start.AddDate(1, 0, 0)
	jots, err := y.j.Jots(ctx, bin, from, to)
	if err != nil {
		y.t.Fatal(err)
	}
	if all, err := y.j.Logbook(ctx, from, to); err != nil || !slices.Equal(all[bin], jots) {
		y.t.Errorf("%s: the logbook of all has %v, %v; its own %v", bin, all[bin], err, jots)
	}
	var food, stood, lengths, measured, heard []string
	for _, j := range jots {
		if j.Bin != bin {
			y.t.Errorf("a jot of %s says it is of %s", bin, j.Bin)
		}
		food, lengths = append(food, j.Of), append(lengths, fmt.Sprint(len(j.Of)))
	}
	changes, err := y.j.Changes(ctx, bin, from, to)
	if err != nil {
		y.t.Fatal(err)
	}
	for _, c := range changes {
		if c.Bin != bin {
			y.t.Errorf("a change of %s says it is of %s", bin, c.Bin)
		}
		stood = append(stood, c.Episode)
	}
	samples, err := y.j.Samples(ctx, bin, "all", farm.Temperature, start, y.at.Add(time.Hour), time.Hour)
	if err != nil {
		y.t.Fatal(err)
	}
	for _, s := range samples {
		measured = append(measured, fmt.Sprint(s.Mean))
	}
	if err := y.j.Replay(ctx, 0, func(e farm.Event) error {
		switch {
		case e.Kind == farm.EventHush && e.Hush.Bin == bin:
			heard = append(heard, "hushed")
		case e.Kind == farm.EventReading && e.Reading.Probe == bin+"-t" && e.Elsewhere == nil:
			heard = append(heard, fmt.Sprint(e.Reading.Value))
		}
		return nil
	}); err != nil {
		y.t.Fatal(err)
	}
	if !slices.Equal(food, stood) || !slices.Equal(lengths, measured) {
		y.t.Errorf("%s: fed %v, changes %v, curve %v", bin, food, stood, measured)
	}
	if want := 2 * len(food); len(heard) != want {
		y.t.Errorf("%s: the replay has %v of it, want %d events", bin, heard, want)
	}
	return strings.Join(food, " ")
}

// History belongs to the bin: through renames, swaps, chains and names that are used
// again, at each restart, and after what it was called is said no more.
func TestHistoryFollowsTheBin(t *testing.T) {
	type life struct {
		farm []string // see yardOf
		food []string
	}
	for _, tt := range []struct {
		name  string
		lives []life
		want  map[string]string
	}{
		{"a rename", []life{{[]string{"a"}, []string{"grain"}}, {[]string{"b was a"}, []string{"scrap"}}}, map[string]string{"b": "grain scrap", "a": ""}},
		{"said no more", []life{{[]string{"a"}, []string{"grain"}}, {[]string{"b was a"}, []string{"scrap"}}, {[]string{"b"}, []string{"oats"}}}, map[string]string{"b": "grain scrap oats"}},
		{"two in one edit", []life{{[]string{"a", "b"}, []string{"x", "yy"}}, {[]string{"c was a", "d was b"}, []string{"xxx", "yyyy"}}}, map[string]string{"c": "x xxx", "d": "yy yyyy"}},
		{"a swap", []life{{[]string{"a", "b"}, []string{"x", "yy"}}, {[]string{"a was b", "b was a"}, []string{"yyy", "xxxx"}}}, map[string]string{"a": "yy yyy", "b": "x xxxx"}},
		{"a swap, and restarts", []life{{[]string{"a", "b"}, []string{"x", "yy"}}, {[]string{"a was b", "b was a"}, nil}, {[]string{"a was b", "b was a"}, nil}, {[]string{"a was b", "b was a"}, []string{"yyy", "xxxx"}}},
			map[string]string{"a": "yy yyy", "b": "x xxxx"}},
		{"a swap and back", []life{{[]string{"a", "b"}, []string{"x", "yy"}}, {[]string{"a was b", "b was a"}, []string{"yyy", "xxxx"}}, {[]string{"a", "b"}, nil}, {[]string{"a was b", "b was a"}, []string{"xxxxx", "yyyyyy"}}},
			map[string]string{"a": "x xxxx xxxxx", "b": "yy yyy yyyyyy"}},
		{"a chain", []life{{[]string{"a"}, []string{"x"}}, {[]string{"b was a"}, []string{"xx"}}, {[]string{"c was b"}, []string{"xxx"}}}, map[string]string{"c": "x xx xxx"}},
		{"a chain, all told", []life{{[]string{"a"}, []string{"x"}}, {[]string{"b was a"}, []string{"xx"}}, {[]string{"c was a b"}, []string{"xxx"}}}, map[string]string{"c": "x xx xxx"}},
		{"all moved by one", []life{{[]string{"a", "b"}, []string{"x", "yy"}}, {[]string{"b was a", "c was b"}, []string{"xxx", "yyyy"}}}, map[string]string{"b": "x xxx", "c": "yy yyyy"}},
		{"a name used again", []life{{[]string{"a"}, []string{"x"}}, {[]string{"b was a"}, nil}, {[]string{"b", "a"}, []string{"xx", "new"}}}, map[string]string{"b": "x xx", "a": "new"}},
		{"used again at once", []life{{[]string{"a"}, []string{"x"}}, {[]string{"b was a", "z"}, []string{"xx", "zzzz"}}, {[]string{"b", "a", "z"}, []string{"xxx", "fresh", ""}}}, map[string]string{"b": "x xx xxx", "a": "fresh", "z": "zzzz"}},
		{"thrown away, and its name given on", []life{{[]string{"a", "b"}, []string{"x", "yy"}}, {[]string{"a was b"}, []string{"yyy"}}}, map[string]string{"a": "yy yyy"}},
		{"thrown away long before", []life{{[]string{"a", "b"}, []string{"x", "yy"}}, {[]string{"b"}, nil}, {[]string{"a was b"}, []string{"yyy"}}}, map[string]string{"a": "yy yyy"}},
		{"gone for a while", []life{{[]string{"a", "b"}, []string{"x", "yy"}}, {[]string{"b"}, []string{"yyy"}}, {[]string{"b", "a"}, []string{"", "xxxx"}}}, map[string]string{"a": "x xxxx", "b": "yy yyy"}},
		{"told too late", []life{{[]string{"a"}, []string{"x"}}, {[]string{"b"}, []string{"xx"}}, {[]string{"b was a"}, []string{"xxx"}}}, map[string]string{"b": "x xx xxx"}},
		{"taken back", []life{{[]string{"a"}, []string{"x"}}, {[]string{"b was a"}, []string{"xx"}}, {[]string{"a"}, []string{"xxx"}}}, map[string]string{"a": "x xx xxx"}},
		{"another letter case", []life{{[]string{"Linden"}, []string{"x"}}, {[]string{"oak was linden"}, []string{"xx"}}}, map[string]string{"oak": "x xx"}},
		{"only the letter case", []life{{[]string{"oak"}, []string{"x"}}, {[]string{"Oak was oak"}, []string{"xx"}}}, map[string]string{"Oak": "x xx"}},
		{"what never was", []life{{[]string{"a"}, []string{"x"}}, {[]string{"a was b"}, []string{"xx"}}}, map[string]string{"a": "x xx"}},
		{"what lives on", []life{{[]string{"a", "b was z"}, []string{"x", "yy"}}, {[]string{"a was b", "b was z"}, []string{"xxx", "yyyy"}}}, map[string]string{"a": "x xxx", "b": "yy yyyy"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			y := newYard(t)
			for _, l := range tt.lives {
				y.live(yardOf(l.farm...), l.food...)
			}
			for bin, want := range tt.want {
				if got := y.of(bin); got != want {
					t.Errorf("%s: got %q, want %q", bin, got, want)
				}
			}
			if tt.name != "a swap" { // once is enough
				return
			}
			compactAll(t, y.j, y.at.AddDate(0, 0, 10))
			y.live(yardOf(tt.lives[len(tt.lives)-1].farm...))
			for bin, want := range tt.want {
				if got := y.of(bin); got != want {
					t.Errorf("%s, packed and after a start: got %q, want %q", bin, got, want)
				}
			}
		})
	}
}

// A zone and its bin may be renamed at once.
func TestAZoneFollowsItsBin(t *testing.T) {
	y := newYard(t)
	y.live(yardOf("a"), "x")
	f := yardOf("b was a")
	f.Bins[0].Zones[0].Name, f.Bins[0].Zones[0].Was = "near", []string{"all"}
	y.live(f)
	ctx := context.Background()
	samples, err := y.j.Samples(ctx, "b", "near", farm.Temperature, start, y.at.Add(time.Hour), time.Hour)
	jots, errJots := y.j.Jots(ctx, "b", start, y.at.Add(time.Hour))
	if err != nil || errJots != nil || len(samples) != 1 || len(jots) != 1 || jots[0].Zone != "near" {
		t.Errorf("got samples %v, jots %v, %v, %v", samples, jots, err, errJots)
	}
	since, err := y.j.Renames(ctx, 3)
	if got := since.Place(farm.Place{Bin: "a", Zone: "all"}); err != nil || got != (farm.Place{Bin: "b", Zone: "near"}) || since.Probe("a-t") != "b-t" {
		t.Errorf("a/all is called %v now, %v", got, err)
	}
}

// A probe that is moved leaves behind what it measured, also when it is renamed with
// that, and when it comes back.
func TestAMovedProbeLeavesItsReadings(t *testing.T) {
	y := newYard(t)
	y.live(yardOf("a", "b"), "x", "yy")
	f := yardOf("a", "b")
	f.Bins[0].Zones[0].Probes, f.Bins[1].Zones[0].Probes = []string{"b-t"}, []string{"c-t"}
	f.Probes[0].ID, f.Probes[0].Was = "c-t", []string{"a-t"}
	if err := y.j.SetFarm(context.Background(), f); err != nil {
		t.Fatal(err)
	}
	appendEvents(t, y.j, reading("b-t", y.at.Add(time.Hour), 30, 30))
	curve := func(bin string) (out []float64) {
		samples, err := y.j.Samples(context.Background(), bin, "all", farm.Temperature, start, y.at.AddDate(0, 0, 1), time.Hour)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range samples {
			out = append(out, s.Mean)
		}
		return out
	}
	if a, b := curve("a"), curve("b"); !slices.Equal(a, []float64{1, 30}) || !slices.Equal(b, []float64{2}) {
		t.Errorf("a has %v, b has %v", a, b)
	}
	where := map[string]string{}
	if err := y.j.Replay(context.Background(), 0, func(e farm.Event) error {
		if e.Elsewhere != nil {
			where[e.Reading.Probe] = e.Elsewhere.String()
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(map[string]string{"b-t": "b/all", "c-t": "a/all"}, where); diff != "" {
		t.Errorf("measured elsewhere (-want +got):\n%s", diff)
	}
}

// What was called how, where a probe stood and how it was read is told of all times.
func TestCalledTellsEveryName(t *testing.T) {
	y := newYard(t)
	f := yardOf("a")
	f.Probes[0].Topic, f.Probes[0].Calibration = "glass/a", []farm.Point{{Raw: 2850, Value: 12}, {Raw: 1420, Value: 84}}
	y.live(f, "x")
	g := yardOf("b was a")
	g.Probes[0].Topic = "glass/b"
	y.live(g, "xx")
	all, err := y.j.Called(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, c := range all {
		got = append(got, fmt.Sprint(c.Kind, " ", c.ID, " ", c.Name, " in ", c.Seat, " at ", c.Topic, " by ", c.Calibration, " ", c.Until.IsZero()))
	}
	want := []string{
		"bin 1 a in  at  by  false", "zone 2 b/all in  at  by  true", "probe 3 a-t in a/all at glass/a by 2850:12 1420:84 false",
		"bin 1 b in  at  by  true", "probe 3 b-t in b/all at glass/b by  true",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if was, err := y.j.BinCalled(context.Background(), "a"); was != "b" || err != nil {
		t.Errorf("a is called %q now, %v", was, err)
	}
}

// A rename is on disk as a whole or not at all.
func TestARenameThatFailsIsNone(t *testing.T) {
	var broken error
	path := newPath(t)
	cfg := journal.Config{Path: path, Now: func() time.Time { return start }, Fault: func(stage string) error {
		if stage == "commit" {
			return broken
		}
		return nil
	}}
	j, err := journal.Open(context.Background(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	y := &yard{path, t, j, start}
	y.live(yardOf("a"), "x")
	broken = errors.New("the card is gone")
	if err := j.SetFarm(context.Background(), yardOf("b was a")); !errors.Is(err, broken) {
		t.Fatalf("got %v", err)
	}
	broken = nil
	if got := y.of("a"); got != "x" {
		t.Errorf("a has %q after a rename that failed", got)
	}
	y.live(yardOf("b was a"), "xx")
	if got := y.of("b"); got != "x xx" {
		t.Errorf("b has %q", got)
	}
}

// A command that only reads sees a farm's names before a daemon has put them in force,
// and changes nothing.
func TestReadingUnderNamesToCome(t *testing.T) {
	y := newYard(t)
	y.live(yardOf("a"), "x")
	r, err := journal.OpenReadOnly(context.Background(), journal.Config{Path: y.path, Now: func() time.Time { return y.at }})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	r.Under(yardOf("b was a"))
	before := &yard{y.path, t, r, y.at}
	if got := before.of("b"); got != "x" {
		t.Errorf("b has %q", got)
	}
	if got := y.of("a"); got != "x" {
		t.Errorf("a has %q in the journal itself", got)
	}
}
