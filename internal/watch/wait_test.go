package watch_test

import (
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"binwatchd/internal/ingest"
)

// TestHowLongReadingsWaitForOthers: what the broker keeps for us waits four times flush,
// while it is less than half of what a broker sends ahead of its answers; what nobody would
// send again waits as long as flush, a probe that listens for its answer a fifth of a second,
// and what is raised not at all.
func TestHowLongReadingsWaitForOthers(t *testing.T) {
	const quick, longest = 200 * time.Millisecond, 4 * flush
	type came struct {
		after   time.Duration
		qos     byte
		hurry   bool
		payload string
	}
	slow := func(n int, every time.Duration) (all []came) {
		for i := range n {
			all = append(all, came{time.Duration(i) * every, 1, false, fmt.Sprint(18 + i%2)})
		}
		return all
	}
	for _, tt := range []struct {
		name string
		came []came
		done time.Duration // when all are acknowledged
	}{
		{"one", slow(1, 0), longest},
		{"four in that time", slow(4, flush), longest},
		{"nine", slow(9, time.Second/2), longest},
		{"the tenth before flush", slow(10, time.Second/2), flush},
		{"the tenth after it", slow(10, 3*time.Second), 27 * time.Second},
		{"a batch is full", slow(16, time.Second/2), 7500 * time.Millisecond},
		{"one of them was sent once and no more", append(slow(3, time.Second), came{5 * time.Second, 0, false, "18"}), flush},
		{"the same, late", append(slow(3, time.Second), came{20 * time.Second, 0, false, "18"}), 20 * time.Second},
		{"a probe listens for its answer", append(slow(3, time.Second), came{5 * time.Second, 1, true, "18"}), 5*time.Second + quick},
		{"something is raised", append(slow(3, time.Second), came{5 * time.Second, 1, false, "85"}), 5 * time.Second},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				r := newRig(t, time.Now)
				began, open := time.Now(), len(tt.came)
				acked := make(chan struct{}, open)
				for i, c := range tt.came {
					time.Sleep(c.after - time.Since(began))
					d := &ingest.Delivery{Topic: "bed/t", Payload: []byte(c.payload), QoS: c.qos, Hurry: c.hurry, Ack: func() { acked <- struct{}{} }}
					if c.qos > 0 {
						d.ID = uint16(i + 1)
					}
					r.broker.items <- ingest.Item{Delivery: d}
				}
				for range open {
					<-acked
				}
				if got := time.Since(began).Round(quick / 2); got != tt.done {
					t.Errorf("they were acknowledged after %v, want %v", got, tt.done)
				}
			})
		})
	}
}
