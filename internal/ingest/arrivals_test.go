package ingest_test

import (
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// an entry is a reading of a probe some time after the connect, and whether
// its time is uncertain.
type entry struct {
	id        string
	after     time.Duration
	uncertain bool
}

func TestArrivalsAfterAConnect(t *testing.T) {
	const min, sec, ms = time.Minute, time.Second, time.Millisecond
	cases := []struct {
		name    string
		resumed bool
		entries []entry
	}{
		{"a queue of one probe, then its own pace", true, []entry{
			{"air", 10 * ms, true}, {"air", 20 * ms, true}, {"air", 30 * ms, true},
			{"air", 6 * min, false}, {"air", 16 * min, false}}},
		{"a queue of two probes", true, []entry{
			{"air", 10 * ms, true}, {"bed-top", 20 * ms, true}, {"air", 30 * ms, true}, {"bed-top", 40 * ms, true},
			{"bed-top", 9 * min, false}, {"air", 10 * min, false}}},
		{"a long queue reaches a probe late", true, []entry{
			{"air", 0, true}, {"air", 4 * sec, true}, {"air", 8 * sec, true}, {"bed-top", 12 * sec, true}, {"bed-top", 13 * sec, true}}},
		{"no queue after all", true, []entry{
			{"air", 3 * min, false}, {"air", 13 * min, false}}},
		{"a new session: only what is too fast", false, []entry{
			{"air", 10 * ms, false}, {"air", 20 * ms, true}, {"air", 30 * ms, true}, {"air", 11 * min, false}}},
		{"once it has kept its pace it is believed", true, []entry{
			{"air", 10 * ms, true}, {"air", 10 * min, false}, {"air", 11 * min, false}, {"air", 12 * min, false}}},
	}
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			a := ingest.NewArrivals(nursery(10 * min))
			a.Linked(noon, tt.resumed)
			for i, e := range tt.entries {
				r := farm.Reading{Probe: e.id, At: noon.Add(e.after)}
				a.Mark(&r)
				if r.Uncertain != e.uncertain {
					t.Errorf("entry %d, %s after %s: uncertain %v, want %v", i, e.id, e.after, r.Uncertain, e.uncertain)
				}
			}
		})
	}
}

func TestArrivalsLeaveTheRestAlone(t *testing.T) {
	cases := []struct {
		name   string
		linked bool
		r      farm.Reading
		want   bool
	}{
		{"stamped by the device", true, farm.Reading{Probe: "air", At: noon, Stamped: true}, false},
		{"stored by the broker", true, farm.Reading{Probe: "air", At: noon, Retained: true}, true},
		{"stored by the broker, stamped", true, farm.Reading{Probe: "air", At: noon, Retained: true, Stamped: true}, false},
		{"of no connection at all", false, farm.Reading{Probe: "air", At: noon}, false},
		{"of an unknown probe", true, farm.Reading{Probe: "stranger", At: noon}, false},
	}
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			a := ingest.NewArrivals(nursery(tenMinutes))
			if tt.linked {
				a.Linked(noon, true)
			}
			a.Mark(&tt.r)
			if tt.r.Uncertain != tt.want {
				t.Errorf("uncertain %v, want %v", tt.r.Uncertain, tt.want)
			}
		})
	}
}
