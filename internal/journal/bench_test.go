package journal_test

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	_ "modernc.org/sqlite"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// benchFarm has probes of the kinds that worm farms have: DS18B20 in °C with its
// step of 1/16 K, soil probes in raw counts with a calibration, DHT22 in tenths.
func benchFarm(probes int) *farm.Farm {
	f := &farm.Farm{Name: "Hillfoot Nursery", Location: time.UTC}
	for i := range probes {
		p := farm.Probe{ID: fmt.Sprintf("p%d", i), Measures: farm.Temperature}
		if i%3 == 1 {
			p.Measures = farm.Moisture
		}
		f.Probes = append(f.Probes, p)
		bin := fmt.Sprintf("bin%d", i/4)
		if i%4 == 0 {
			f.Bins = append(f.Bins, farm.Bin{Name: bin, Zones: []farm.Zone{{Name: "all"}}})
		}
		z := &f.Bins[len(f.Bins)-1].Zones[0]
		z.Probes = append(z.Probes, p.ID)
	}
	return f
}

// teller gives what the probes say, in the order of arrival: each at its own
// pace with clock drift and radio delay, and a tick at each full minute.
type teller struct {
	rng    *rand.Rand
	probes []farm.Probe
	every  time.Duration
	next   []time.Time
	level  []float64
	tick   time.Time
}

func newTeller(f *farm.Farm, every time.Duration) *teller {
	t := &teller{rng: rand.New(rand.NewPCG(7, 7)), probes: f.Probes, every: every, tick: start}
	for range f.Probes {
		t.next = append(t.next, start.Add(time.Duration(t.rng.Int64N(int64(every)))))
		t.level = append(t.level, 0)
	}
	return t
}

func (t *teller) say() farm.Event {
	k := 0
	for i, at := range t.next {
		if at.Before(t.next[k]) {
			k = i
		}
	}
	if t.tick.Before(t.next[k]) {
		e := farm.Event{Kind: farm.EventTick, Arrived: t.tick}
		t.tick = t.tick.Add(time.Minute)
		return e
	}
	at := t.next[k].Truncate(time.Millisecond)
	t.next[k] = t.next[k].Add(t.every + time.Duration(t.rng.NormFloat64()*float64(80*time.Millisecond)))
	raw, value := t.measure(k, at)
	return reading(t.probes[k].ID, at, raw, value)
}

func (t *teller) measure(k int, at time.Time) (raw, value float64) {
	t.level[k] += 0.01 * t.rng.NormFloat64()
	swing := 4*math.Sin(2*math.Pi*at.Sub(start).Hours()/24) + t.level[k]
	switch k % 3 {
	case 0:
		c := math.Round((18+swing+0.05*t.rng.NormFloat64())*16) / 16
		return c, c
	case 1:
		raw = math.Round(1800 + 10*t.level[k] + 6*t.rng.NormFloat64())
		return raw, 12 + (2850-raw)*(84-12)/(2850-1420)
	}
	f := math.Round((64+1.8*swing+0.1*t.rng.NormFloat64())*10) / 10
	return f, farm.CelsiusOf(f)
}

// run journals so many readings as the daemon does: a commit when 16 wait, 30 s have passed and
// ten wait, or two minutes have passed; a compaction each hour, a snapshot each six hours.
func run(b testing.TB, j *journal.Journal, t *teller, most int) (readings int, end time.Time) {
	batch := &journal.Batch{}
	var opened, compacted, snapped time.Time
	body := make([]byte, 24<<10)
	for readings < most {
		e := t.say()
		if e.Kind == farm.EventTick { // one that changes nothing is not written
			continue
		}
		n, waited := len(batch.Entries), e.Arrived.Sub(opened)
		if n == 16 || n >= 10 && waited >= 30*time.Second || n > 0 && waited >= 2*time.Minute {
			if e.Arrived.Sub(snapped) >= 6*time.Hour {
				for i := range body {
					body[i] = byte(t.rng.Uint32())
				}
				batch.Snapshot = &journal.Snapshot{Version: 1, Taken: e.Arrived, Rules: body}
				snapped = e.Arrived
			}
			if err := j.Append(context.Background(), batch); err != nil {
				b.Fatal(err)
			}
			*batch = journal.Batch{Entries: batch.Entries[:0]}
		}
		if e.Arrived.Sub(compacted) >= time.Hour {
			if _, err := j.Compact(context.Background(), e.Arrived, true); err != nil {
				b.Fatal(err)
			}
			compacted = e.Arrived
		}
		if len(batch.Entries) == 0 {
			opened = e.Arrived
		}
		batch.Entries = append(batch.Entries, journal.Entry{Event: e, Packet: uint16(1 + readings%65535), Hash: t.rng.Uint32()})
		if e.Kind == farm.EventReading {
			readings++
		}
		end = e.Arrived
	}
	return readings, end
}

// written is what this process has handed to write calls, and what it has
// dirtied of the disk's pages (proc(5), /proc/pid/io).
type written struct{ calls, disk int64 }

func (w written) since(old written) written { return written{w.calls - old.calls, w.disk - old.disk} }

func readWritten(b testing.TB) written {
	text, err := os.ReadFile("/proc/self/io")
	if err != nil {
		b.Fatal(err)
	}
	var rchar, wchar, syscr, syscw, rbytes, wbytes int64
	if _, err := fmt.Sscanf(string(text), "rchar: %d\nwchar: %d\nsyscr: %d\nsyscw: %d\nread_bytes: %d\nwrite_bytes: %d",
		&rchar, &wchar, &syscr, &syscw, &rbytes, &wbytes); err != nil {
		b.Fatal(err)
	}
	return written{wchar, wbytes}
}

// keyed is the plain way to keep readings, which the figures are held against:
// one commit a reading into a table ordered by probe and time.
func keyed(b testing.TB, t *teller, n int) written {
	db, err := sql.Open("sqlite", "file:"+filepath.Join(b.TempDir(), "keyed.db")+"?_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)")
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	if _, err := db.Exec(`CREATE TABLE reading (probe TEXT, at INTEGER, value REAL, PRIMARY KEY (probe, at)) WITHOUT ROWID`); err != nil {
		b.Fatal(err)
	}
	before := readWritten(b)
	for i := 0; i < n; {
		e := t.say()
		if e.Kind != farm.EventReading {
			continue
		}
		if _, err := db.Exec(`INSERT INTO reading VALUES (?, ?, ?)`, e.Reading.Probe, e.Reading.At.UnixMilli(), e.Reading.Value); err != nil {
			b.Fatal(err)
		}
		i++
	}
	return readWritten(b).since(before)
}

// BenchmarkWear is the wear of the card and the room on it: bytes written for
// each reading with everything included, held against one commit a reading into
// a keyed table, and bytes on disk for each packed reading, held against rows
// of 20 bytes.
func BenchmarkWear(b *testing.B) {
	for _, c := range []struct {
		name   string
		probes int
		every  time.Duration
		days   int
	}{
		{"20_probes_each_minute", 20, time.Minute, 5},
		{"20_probes_each_10_minutes", 20, 10 * time.Minute, 15},
		{"200_probes_each_10_minutes", 200, 10 * time.Minute, 14},
	} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				wear(b, benchFarm(c.probes), c.every, c.days)
			}
		})
	}
}

func wear(b *testing.B, f *farm.Farm, every time.Duration, days int) {
	const plain = 10_000
	n := len(f.Probes) * days * int(24*time.Hour/every)
	base := keyed(b, newTeller(f, every), plain)
	path := newPath(b)
	j := open(b, path)
	if err := j.SetFarm(context.Background(), f); err != nil {
		b.Fatal(err)
	}
	before := readWritten(b)
	_, end := run(b, j, newTeller(f, every), n)
	if err := j.Close(); err != nil {
		b.Fatal(err)
	}
	w := readWritten(b).since(before)
	b.ReportMetric(float64(w.calls)/float64(n), "written_B/reading")
	b.ReportMetric(float64(base.calls)/plain, "keyed_B/reading")
	b.ReportMetric(float64(w.calls)*plain/float64(base.calls)/float64(n), "written/keyed")
	b.ReportMetric(float64(w.disk)*plain/float64(base.disk)/float64(n), "disk_written/keyed")
	onDisk := packedSize(b, path, end)
	b.ReportMetric(onDisk, "kept_B/reading")
	b.ReportMetric(onDisk/20, "kept/20B_rows")
}

// packedSize packs all there is and gives the bytes on disk of each reading, with
// its part of the history and of everything else in the file.
func packedSize(b *testing.B, path string, end time.Time) float64 {
	j := open(b, path)
	defer j.Close()
	compactAll(b, j, end.Add(30*24*time.Hour))
	s, err := j.Sizes(context.Background())
	if err != nil {
		b.Fatal(err)
	}
	if s.Packed == 0 || s.Unpacked > 0 {
		b.Fatalf("not all is packed: %+v", s)
	}
	return float64(s.FileBytes-s.FreeBytes) / float64(s.Packed)
}

// BenchmarkAppend is a commit of sixteen readings, the broker's window.
func BenchmarkAppend(b *testing.B) {
	f := benchFarm(20)
	j := open(b, newPath(b))
	if err := j.SetFarm(context.Background(), f); err != nil {
		b.Fatal(err)
	}
	t := newTeller(f, time.Minute)
	b.ReportAllocs()
	for b.Loop() {
		batch := &journal.Batch{}
		for range 16 {
			batch.Entries = append(batch.Entries, journal.Entry{Event: t.say(), Packet: 1, Hash: 2})
		}
		if err := j.Append(context.Background(), batch); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkSync is what the disk alone takes for such a commit: one page
// appended to a file and synced.
func BenchmarkSync(b *testing.B) {
	f, err := os.Create(filepath.Join(b.TempDir(), "log"))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	page := make([]byte, 2072)
	for b.Loop() {
		if _, err := f.Write(page); err != nil {
			b.Fatal(err)
		}
		if err := f.Sync(); err != nil {
			b.Fatal(err)
		}
	}
}

// year fills a journal with a year of 200 probes that speak every 10 minutes, in
// large batches, and compacts it.
func year(b *testing.B) (*journal.Journal, time.Time) {
	f := benchFarm(200)
	j := open(b, newPath(b))
	if err := j.SetFarm(context.Background(), f); err != nil {
		b.Fatal(err)
	}
	t := newTeller(f, 10*time.Minute)
	var end time.Time
	for end.Before(start.AddDate(1, 0, 0)) {
		batch := &journal.Batch{}
		for range 8192 {
			e := t.say()
			end = e.Arrived
			batch.Entries = append(batch.Entries, journal.Entry{Event: e})
		}
		if err := j.Append(context.Background(), batch); err != nil {
			b.Fatal(err)
		}
		if _, err := j.Compact(context.Background(), end, true); err != nil {
			b.Fatal(err)
		}
	}
	return j, end
}

// BenchmarkYear asks a year's journal of 200 probes for curves and replays from
// it.
func BenchmarkYear(b *testing.B) {
	ctx := context.Background()
	j, end := year(b)
	if _, err := j.Samples(ctx, "bin7", "all", farm.Temperature, end.Add(-time.Hour), end, time.Hour); err != nil {
		b.Fatal(err) // reads the unpacked ones once
	}
	for _, c := range []struct {
		name       string
		long, step time.Duration
	}{
		{"two_days", 48 * time.Hour, 10 * time.Minute},
		{"two_weeks", 14 * 24 * time.Hour, time.Hour},
		{"three_months", 91 * 24 * time.Hour, 6 * time.Hour},
		{"a_year", 365 * 24 * time.Hour, 24 * time.Hour},
	} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				got, err := j.Samples(ctx, "bin7", "all", farm.Temperature, end.Add(-c.long), end, c.step)
				if err != nil || len(got) == 0 {
					b.Fatal(len(got), err)
				}
			}
		})
	}
	b.Run("replay_reading", func(b *testing.B) {
		n := 0
		for n < b.N {
			err := j.Replay(ctx, 0, func(farm.Event) error {
				if n++; n >= b.N {
					return errPulled
				}
				return nil
			})
			if err != nil && err != errPulled {
				b.Fatal(err)
			}
		}
	})
	b.Run("forward_reading", func(b *testing.B) {
		after := int64(0)
		for n := 0; n < b.N; {
			s, err := j.Forward(ctx, after, 5000)
			if err != nil {
				b.Fatal(err)
			}
			n += len(s.Events)
			if after = s.Last; len(s.Events) == 0 {
				after = 0
			}
		}
	})
	s, err := j.Sizes(ctx)
	if err != nil {
		b.Fatal(err)
	}
	b.Logf("a year: %d packed and %d unpacked readings in %.1f MB, of them %.1f MB free", s.Packed, s.Unpacked, float64(s.FileBytes)/1e6, float64(s.FreeBytes)/1e6)
}
