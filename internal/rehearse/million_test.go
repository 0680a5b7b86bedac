package rehearse_test

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"runtime"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/rehearse"
)

var t0 = time.Date(2025, 3, 1, 0, 0, 0, 0, time.UTC)

func bed() *farm.Farm {
	f := &farm.Farm{Name: "Hillfoot Nursery", Units: farm.Metric, Location: time.UTC, Species: husbandry.Species(), Feeds: husbandry.Feeds()}
	zone := farm.Zone{Name: "all", Aim: farm.Living, Share: 1, Patience: 30 * time.Minute, Margin: map[farm.Quantity]float64{farm.Temperature: 0.5, farm.Moisture: 2},
		LookAhead: farm.LookAhead{Heating: 12 * time.Hour, Drying: 7 * 24 * time.Hour}}
	for i := range 10 {
		t, m := fmt.Sprintf("t%d", i), fmt.Sprintf("m%d", i)
		f.Probes = append(f.Probes,
			farm.Probe{ID: t, Topic: "bed/" + t, Measures: farm.Temperature, Unit: farm.Celsius, Every: time.Minute},
			farm.Probe{ID: m, Topic: "bed/" + m, Value: "/soil", Measures: farm.Moisture, Unit: farm.Percent, Every: time.Minute})
		z := zone
		z.Probes = []string{t, m}
		f.Bins = append(f.Bins, farm.Bin{Name: fmt.Sprintf("bed%d", i), Species: []farm.Share{{Species: "red", Fraction: 1}}, VolumeL: 100, Zones: []farm.Zone{z}})
	}
	return f
}

// recording writes n messages of twenty probes, a minute apart each: bare
// numbers and small JSON, swinging past their limits.
func recording(w io.Writer, n int) {
	b := bufio.NewWriterSize(w, 64<<10)
	defer b.Flush()
	fmt.Fprintln(b, "time,topic,payload")
	for i := range n {
		at := t0.Add(time.Duration(i) * time.Minute / 20)
		day := at.Sub(t0).Hours() / 24
		if i%2 == 0 {
			fmt.Fprintf(b, "%s,bed/t%d,%.2f\n", at.Format(time.RFC3339), i/2%10, 20+8*math.Sin(2*math.Pi*day/6))
		} else {
			fmt.Fprintf(b, "%s,bed/m%d,\"{\"\"soil\"\":%.1f}\"\n", at.Format(time.RFC3339), i/2%10, 76+10*math.Sin(2*math.Pi*day/30))
		}
	}
}

// live rehearses n messages and gives the hash of what it said.
func live(t testing.TB, n int) (hash string, st rehearse.Stats, heap uint64) {
	t.Helper()
	r, w := io.Pipe()
	go func() {
		recording(w, n)
		w.Close()
	}()
	sum := sha256.New()
	out := json.NewEncoder(sum)
	re := rehearse.New(rehearse.Config{Farm: bed(), Prefix: "binwatch", On: func(ch farm.Change) {
		if err := out.Encode(ch); err != nil {
			t.Error(err)
		}
	}})
	if err := re.Messages(context.Background(), r); err != nil {
		t.Fatal(err)
	}
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	runtime.KeepAlive(re)
	return hex.EncodeToString(sum.Sum(nil)), re.Stats(), m.HeapAlloc
}

const million = 1_000_000

func TestAMillionMessagesInConstantMemory(t *testing.T) {
	efforttest.Long(t)
	hash, _, before := live(t, million/10)
	_, st, after := live(t, million)
	if st.Readings != million || st.Changes < million/10_000 {
		t.Fatalf("got %+v, want a million readings and a fair number of changes", st)
	}
	// A tenth of the messages fills every window; nine tenths more may not add to it.
	if limit := before + 4<<20; after > limit {
		t.Errorf("heap is %d kB after a million messages and %d kB after a tenth of them: it grows", after>>10, before>>10)
	}
	if again, _, _ := live(t, million/10); again != hash {
		t.Errorf("the same recording gave %s, then %s", hash, again)
	}
}

// Garbage lets time pass as it does for the daemon: its sender falls silent.
func TestGarbageLetsTimePass(t *testing.T) {
	var silent []farm.Change
	r := rehearse.New(rehearse.Config{Farm: bed(), Prefix: "binwatch", On: func(ch farm.Change) {
		if ch.Condition == farm.Silent && ch.Probe == "t0" {
			silent = append(silent, ch)
		}
	}})
	play(t, r, func(say func(time.Time, string)) {
		say(t0, "20")
		for i := range 10 {
			say(t0.Add(time.Duration(1+i)*time.Minute), "warm")
		}
	})
	if len(silent) != 1 || silent[0].Change != farm.Raised {
		t.Errorf("got %+v, want the probe to fall silent once", silent)
	}
}

// play rehearses what one probe says.
func play(t *testing.T, r *rehearse.Rehearsal, story func(say func(at time.Time, payload string))) {
	t.Helper()
	var text bytes.Buffer
	fmt.Fprintln(&text, "time,topic,payload")
	story(func(at time.Time, payload string) {
		fmt.Fprintf(&text, "%s,bed/t0,%s\n", at.Format(time.RFC3339Nano), payload)
	})
	if err := r.Messages(context.Background(), &text); err != nil {
		t.Error(err)
	}
}
