package influx_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
	"binwatchd/internal/influxtest"
	"binwatchd/internal/proctest"
)

// These tests run against Debian's influxd 1.6.7, the InfluxDB that a
// Raspberry Pi gets.

// eager is a pace for servers in real time.
var eager = influx.Pace{
	Every: 5 * time.Millisecond, RetryMin: 5 * time.Millisecond, RetryMax: 50 * time.Millisecond, Mend: 20 * time.Millisecond,
}

func onInfluxd(s *influxtest.Influxd) influx.Config {
	return influx.Config{Settings: influx.Settings{URL: s.URL, Flavour: influx.V1, Database: "bins"}, Now: time.Now, Pace: eager}
}

// glasshouse is a farm of twenty probes in five bins.
func glasshouse() farm.Farm {
	f := farm.Farm{Name: "Hillfoot Nursery"}
	for b := range 5 {
		bin := farm.Bin{Name: fmt.Sprintf("bin %d", b)}
		for z := range 2 {
			t, m := fmt.Sprintf("t-%d-%d", b, z), fmt.Sprintf("m-%d-%d", b, z)
			f.Probes = append(f.Probes, farm.Probe{ID: t, Measures: farm.Temperature}, farm.Probe{ID: m, Measures: farm.Moisture})
			bin.Zones = append(bin.Zones, farm.Zone{Name: fmt.Sprintf("zone %d", z), Probes: []string{t, m}})
		}
		f.Bins = append(f.Bins, bin)
	}
	return f
}

// grow lets the farm's twenty probes speak from day a to day b, every so often,
// with a jot and a change a day.
func grow(m *memory, f farm.Farm, a, b int, every time.Duration) {
	for at := start.AddDate(0, 0, a); at.Before(start.AddDate(0, 0, b)); at = at.Add(every) {
		for i, p := range f.Probes {
			// No two probes speak in the same millisecond, as little as they would.
			m.add(readingAt(p.ID, at.Add(time.Duration(i)*time.Millisecond), 10+float64(i)+float64(at.Minute())/8))
		}
	}
	day := start.AddDate(0, 0, a)
	m.add(farm.Event{Kind: farm.EventJot, Arrived: day, Jot: farm.Jot{At: day, Bin: "bin 1", What: farm.Fed, Kg: 2, Of: "grain"}},
		farm.Change{At: day, Bin: "bin 1", Zone: "zone 0", Condition: farm.Heating, Change: farm.Raised, Urgency: farm.Today, Text: "warming"})
}

// wantEverything compares the database with the journal: the count of every
// field, the sum of every series, and the marks.
func wantEverything(t *testing.T, s *influxtest.Influxd, m *memory) {
	t.Helper()
	want, marks := map[string]int{}, 0
	sums := map[string]float64{}
	for _, e := range m.events {
		if e.Kind == farm.EventJot {
			marks += 2 // itself and its change
			continue
		}
		want["raw"]++
		want[map[byte]string{'t': "temperature_c", 'm': "moisture_pct"}[e.Reading.Probe[0]]]++
		sums[e.Reading.Probe] += e.Reading.Raw
	}
	got := map[string]int{}
	for field := range want {
		got[field] = s.Count("bins", "bin_levels", field)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("points of each field: %s", d)
	}
	if got := s.Count("bins", "bin_marks", "text"); got != marks {
		t.Errorf("got %d marks, want %d", got, marks)
	}
	for probe, sum := range sums {
		rows := s.Query("bins", fmt.Sprintf(`SELECT SUM("raw") FROM "bin_levels" WHERE "probe" = '%s'`, probe))
		if got := rows[0][1].(float64); got-sum > 1e-6*sum || sum-got > 1e-6*sum {
			t.Errorf("%s: raw adds up to %v, want %v", probe, got, sum)
		}
	}
}

// A line that is struck counts nothing any more: the point that stands for it is
// overwritten, here by the server's own sums.
func TestAStruckJotCountsNothing(t *testing.T) {
	s := influxtest.StartInfluxd(t, influxtest.Options{})
	s.Do("CREATE DATABASE bins")
	f, m, told := glasshouse(), &memory{}, &troubles{}
	r := forward(t, onInfluxd(s), f, m, told.tell)
	fed := func(at time.Time, kg float64) farm.Jot {
		return farm.Jot{At: at, Bin: "bin 1", What: farm.Fed, Kg: kg}
	}
	right, wrong := fed(start, 2), fed(start.Add(time.Hour), 20)
	m.add(farm.Event{Kind: farm.EventJot, Arrived: start, Jot: right})
	m.add(farm.Event{Kind: farm.EventJot, Arrived: start, Jot: wrong})
	sum := func() string {
		rows := s.Query("bins", `SELECT SUM("jots"), SUM("kg") FROM "bin_marks" WHERE "jot" = 'fed'`)
		return fmt.Sprint(rows[0][1:])
	}
	proctest.Eventually(t, "both", func() bool { return r.Figures().Reached >= m.last() })
	if got := sum(); got != "[2 22]" {
		t.Errorf("before: %s, want 2 jots of 22 kg", got)
	}
	m.add(farm.Event{Kind: farm.EventStrike, Arrived: start, Strike: farm.Strike{Line: 2, Jot: wrong}})
	proctest.Eventually(t, "the strike", func() bool { return r.Figures().Reached >= m.last() })
	if got := sum(); got != "[1 2]" {
		t.Errorf("after: %s, want the right one alone", got)
	}
}

func TestAWeekOfOutagesEndsWithEveryPoint(t *testing.T) {
	s := influxtest.StartInfluxd(t, influxtest.Options{})
	s.Do("CREATE DATABASE bins")
	f, m, told := glasshouse(), &memory{}, &troubles{}
	cfg := onInfluxd(s)
	cfg.Pace.Rows, cfg.Pace.SaveRows = 500, 2000
	r := forward(t, cfg, f, m, told.tell)
	reached := func(n int64) func() bool { return func() bool { return r.Figures().Reached >= n } }
	failing := func() {
		t.Helper()
		proctest.Eventually(t, "a failure", func() bool { return r.Figures().Trouble != "" })
	}

	grow(m, f, 0, 1, 10*time.Minute)
	proctest.Eventually(t, "first day", reached(m.last()))

	s.Stop() // the server is stopped for two days
	grow(m, f, 1, 3, 10*time.Minute)
	failing()
	s.Start()
	proctest.Eventually(t, "third day", reached(m.last()))

	s.Kill() // and loses its power while it takes the backlog of the next two
	grow(m, f, 3, 5, 10*time.Minute)
	failing()
	s.Start()
	proctest.Eventually(t, "some of the backlog", reached(m.last()-4000))
	s.Kill()
	grow(m, f, 5, 6, 10*time.Minute)
	s.Start()
	proctest.Eventually(t, "sixth day", reached(m.last()))

	r.stop() // at last the forwarder itself is stopped and forgets what it did not save
	m.with(func() { m.cursor -= 1500 })
	grow(m, f, 6, 7, 10*time.Minute)
	r = forward(t, cfg, f, m, told.tell)
	proctest.Eventually(t, "the week", func() bool { return r.Figures().Reached == m.last() })

	wantEverything(t, s, m)
	if g := r.Figures(); g.Parked != 0 || len(m.parked) != 0 {
		t.Errorf("%d rows parked, want none", g.Parked)
	}
}

func TestSendingTwiceStoresOnce(t *testing.T) {
	s := influxtest.StartInfluxd(t, influxtest.Options{})
	s.Do("CREATE DATABASE bins")
	f, m := glasshouse(), &memory{}
	grow(m, f, 0, 1, 10*time.Minute)
	for range 3 { // each run begins at the start of the journal
		m.with(func() { m.cursor = 0 })
		r := forward(t, onInfluxd(s), f, m, nil)
		proctest.Eventually(t, "the day", func() bool { return r.Figures().Reached == m.last() })
		r.stop()
	}
	sent, err := influx.Resend(t.Context(), onInfluxd(s), f, m, influx.Range{From: start}, nil)
	if err != nil || sent.Written != m.last()+1 { // the change rides on its jot
		t.Errorf("resend: %+v, %v; want %d rows", sent, err, m.last()+1)
	}
	wantEverything(t, s, m)
}

func TestTheKeeperMendsTheDatabase(t *testing.T) {
	s := influxtest.StartInfluxd(t, influxtest.Options{Auth: true})
	m, told := &memory{}, &troubles{}
	m.fill(50, start)
	cfg := onInfluxd(s)
	cfg.User, cfg.Password, cfg.Retention = "bins", "worms", "year"
	forward(t, cfg, hillfoot(), m, told.tell)
	steps := []struct{ told, mend string }{
		{"does not know bins with this password", `CREATE USER "bins" WITH PASSWORD 'worms'`},
		{`CREATE DATABASE "bins"`, `CREATE DATABASE "bins"`},
		{`GRANT WRITE ON "bins" TO "bins"`, `GRANT WRITE ON "bins" TO "bins"`},
		{`CREATE RETENTION POLICY "year" ON "bins" DURATION INF REPLICATION 1`, `CREATE RETENTION POLICY "year" ON "bins" DURATION INF REPLICATION 1`},
		{"takes readings", ""},
	}
	var want []string
	for _, step := range steps {
		want = append(want, step.told)
		proctest.Eventually(t, step.told, func() bool { return len(told.told()) == len(want) })
		wantTold(t, told.told(), want...)
		if step.mend != "" {
			s.Do(step.mend)
		}
	}
	proctest.Eventually(t, "the rows", func() bool {
		rows := s.Query("bins", `SELECT COUNT("raw") FROM "year"."bin_levels"`)
		return len(rows) == 1 && rows[0][1] == 50.0
	})
	if len(m.parked) != 0 {
		t.Errorf("parked %+v; nothing was wrong with the rows", m.parked)
	}
}

func TestRowsThatInfluxdRefusesAreParked(t *testing.T) {
	s := influxtest.StartInfluxd(t, influxtest.Options{})
	s.Do("CREATE DATABASE bins")
	// Somebody has written moisture_pct as an integer; temperatures may go on.
	post(t, s.URL+"/write?db=bins&precision=ms", fmt.Sprintf("bin_levels moisture_pct=1i %d", start.UnixMilli()))
	m, told := &memory{}, &troubles{}
	for i := range 1000 {
		probe := "bed-t"
		if i%100 == 7 {
			probe = "bed-m"
		}
		m.add(readingAt(probe, start.Add(time.Duration(i)*time.Minute), 20))
	}
	beyond := readingAt("bed-t", start, 20)
	beyond.Reading.At = time.Date(2300, 1, 1, 0, 0, 0, 0, time.UTC) // influxd counts nanoseconds in 64 bits
	m.add(beyond)
	r := forward(t, onInfluxd(s), hillfoot(), m, told.tell)
	proctest.Eventually(t, "the end", func() bool { return r.Figures().Reached == m.last() })
	if got := s.Count("bins", "bin_levels", "temperature_c"); got != 990 {
		t.Errorf("got %d temperatures, want 990", got)
	}
	if len(m.parked) != 11 {
		t.Fatalf("%d rows parked, want 11: %+v", len(m.parked), m.parked)
	}
	conflicts := 0
	for _, p := range m.parked {
		if strings.Contains(p.Line, "probe=bed-m") && strings.Contains(p.Reason, "field type conflict") {
			conflicts++
		}
	}
	if last := m.parked[10]; conflicts != 10 || !strings.Contains(last.Line, " 10413792000000") || last.Reason == "" {
		t.Errorf("%d conflicts parked, want 10, then the row of the far future: %+v", conflicts, m.parked)
	}
	wantTold(t, told.told(), "takes readings")
}

func TestInfluxdsRetentionPolicyIsNoTrouble(t *testing.T) {
	s := influxtest.StartInfluxd(t, influxtest.Options{})
	s.Do("CREATE DATABASE bins WITH DURATION 1d REPLICATION 1")
	m, told := &memory{}, &troubles{}
	m.fill(500, start)
	now := time.Now()
	for i := range 20 {
		m.add(readingAt("bed-t", now.Add(time.Duration(-i)*time.Second), 20))
	}
	r := forward(t, onInfluxd(s), hillfoot(), m, told.tell)
	proctest.Eventually(t, "the end", func() bool { return r.Figures().Reached == m.last() })
	if got := s.Count("bins", "bin_levels", "raw"); got != 20 || r.Figures().Parked != 500 {
		t.Errorf("stored %d, figures %+v; want 20 stored and 500 too old", got, r.Figures())
	}
	wantTold(t, told.told(), "takes readings")
	for _, p := range m.parked {
		if !strings.HasPrefix(p.Reason, "older than the database keeps, so it will never take it; the journal still has it.") {
			t.Errorf("a row is refused with %q", p.Reason)
		}
	}
}

func TestInfluxdWithASmallBody(t *testing.T) {
	s := influxtest.StartInfluxd(t, influxtest.Options{MaxBody: 20_000})
	s.Do("CREATE DATABASE bins")
	f, m := glasshouse(), &memory{}
	grow(m, f, 0, 2, 10*time.Minute)
	r := forward(t, onInfluxd(s), f, m, nil)
	proctest.Eventually(t, "the end", func() bool { return r.Figures().Reached == m.last() })
	wantEverything(t, s, m)
}

// TestInfluxdReadsEveryName writes names that no encoder of the client's can
// and finds the points again.
func TestInfluxdReadsEveryName(t *testing.T) {
	s := influxtest.StartInfluxd(t, influxtest.Options{})
	s.Do("CREATE DATABASE bins")
	names := []string{"plain", "with space", "a,b", "a=b", `back\`, `back\\`, `a\,b`, `"quoted"`, "line\nbreak", "tab\tbed",
		"bad\xffbyte", "größe", "虫", "nul\x00", "#comment", "'", "$x"}
	m, f := &memory{}, farm.Farm{Name: `Hill, foot = "N"\`}
	for i, n := range names {
		f.Probes = append(f.Probes, farm.Probe{ID: n, Measures: farm.Temperature})
		f.Bins = append(f.Bins, farm.Bin{Name: n, Zones: []farm.Zone{{Name: n, Probes: []string{n}}}})
		at := start.Add(time.Duration(i) * time.Second)
		m.add(readingAt(n, at, 20))
		m.add(farm.Event{Kind: farm.EventJot, Arrived: at, Jot: farm.Jot{At: at, Bin: n, What: farm.Fed, Of: n, By: n}},
			farm.Change{At: at, Bin: n, Condition: farm.TooDry, Change: farm.Raised, Text: n, Episode: n})
	}
	r := forward(t, onInfluxd(s), f, m, nil)
	proctest.Eventually(t, "the end", func() bool { return r.Figures().Reached == m.last() })
	climate, marks := s.Count("bins", "bin_levels", "temperature_c"), s.Count("bins", "bin_marks", "text")
	if climate != len(names) || marks != 2*len(names) || len(m.parked) != 0 {
		t.Errorf("%d readings, %d marks, parked %+v; want %d, %d, none", climate, marks, m.parked, len(names), 2*len(names))
	}
	rows := s.Query("bins", `SELECT "bin", "temperature_c" FROM "bin_levels"`)
	for i, want := range map[int]string{1: "with space", 2: "a,b", 3: "a=b", 4: "back/", 6: `a\,b`, 8: "line break", 11: "größe"} {
		if got := rows[i][1]; got != want {
			t.Errorf("bin came back as %q, want %q", got, want)
		}
	}
}

// A keeper of long standing keeps the old name, or has all of it under the new one.
func TestTheOldNameIsKeptOrTheNewOneFilled(t *testing.T) {
	s := influxtest.StartInfluxd(t, influxtest.Options{})
	s.Do("CREATE DATABASE bins")
	m := &memory{}
	m.fill(50, start)
	old := onInfluxd(s)
	old.Measurement = "bin_climate"
	r := forward(t, old, hillfoot(), m, nil)
	proctest.Eventually(t, "the end", func() bool { return r.Figures().Reached == m.last() })
	if was, is := s.Count("bins", "bin_climate", "raw"), s.Count("bins", influx.Levels, "raw"); was != 50 || is != 0 {
		t.Errorf("under the old name %d, under the new one %d; want 50 and none", was, is)
	}
	if _, err := influx.Resend(t.Context(), onInfluxd(s), hillfoot(), m, influx.Range{From: start}, nil); err != nil {
		t.Fatal(err)
	}
	if was, is := s.Count("bins", "bin_climate", "raw"), s.Count("bins", influx.Levels, "raw"); was != 50 || is != 50 {
		t.Errorf("after a resend under the old name %d, under the new one %d; want 50 and 50", was, is)
	}
}

// Marks are grouped by what changed and by urgency, and an episode is one series
// when they are not; jots that are alike stay apart. A database that has the points
// of older versions, with urgency as a field, takes those of this one.
func TestMarksAreGroupedAndJoined(t *testing.T) {
	s := influxtest.StartInfluxd(t, influxtest.Options{})
	s.Do("CREATE DATABASE bins")
	post(t, s.URL+"/write?db=bins&precision=ms", fmt.Sprintf(`bin_marks,bin=bed,change=raised,condition=too-dry,zone=near raised=1,urgency="soon" %d`, start.UnixMilli()))
	m := &memory{}
	change := func(hours int, kind farm.ChangeKind, u farm.Urgency) farm.Change {
		at := start.Add(time.Duration(hours) * time.Hour)
		return farm.Change{At: at, Since: start, Bin: "bed", Zone: "near", Condition: farm.TooHot, Change: kind, Urgency: u, Text: "x", Episode: "e"}
	}
	fed := farm.Event{Kind: farm.EventJot, Arrived: start, Jot: farm.Jot{At: start, Bin: "bed", What: farm.Fed, Kg: 2, Of: "grain"}}
	m.add(fed, change(0, farm.Raised, farm.Today), change(2, farm.Worsened, farm.Now), change(5, farm.Eased, farm.Now))
	m.alike = map[int64]int{m.add(fed): 1}
	r := forward(t, onInfluxd(s), hillfoot(), m, nil)
	proctest.Eventually(t, "the end", func() bool { return r.Figures().Reached == m.last() })
	for ask, want := range map[string]string{
		`SELECT SUM("kg") FROM bin_marks WHERE "jot" = 'fed'`:                                             "[[4]]",
		`SELECT "standing" FROM bin_marks WHERE "condition" = 'too-hot' GROUP BY bin, zone, "condition"`:  "[[2] [3] [0]]",
		`SELECT COUNT("raised") FROM bin_marks WHERE "urgency"::tag = 'now' GROUP BY "urgency", "change"`: "[[1]]",
		`SELECT "lasted_h", "urgency"::tag FROM bin_marks WHERE "change" = 'eased' GROUP BY "condition"`:  "[[5 now]]",
	} {
		var got [][]any
		for _, row := range s.Query("bins", ask) {
			got = append(got, row[1:]) // without the time
		}
		if fmt.Sprint(got) != want {
			t.Errorf("%s: got %v, want %s", ask, got, want)
		}
	}
}

func post(t *testing.T, url, body string) {
	t.Helper()
	resp, err := http.Post(url, "text/plain", strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != http.StatusNoContent {
		t.Fatalf("post %s: %s", url, resp.Status)
	}
}
