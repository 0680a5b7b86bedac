package watch_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// The weather to come is in the journal before it is acknowledged, also where the broker
// had stored it: a restart knows it again. What is no weather is acknowledged and kept
// nowhere.
func TestTheWeatherToComeIsKept(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		hours := func(c float64) string {
			at := time.Now().UTC().Truncate(time.Hour)
			return fmt.Sprintf(`[[%q, %g], [%q, 3]]`, at.Add(time.Hour).Format(time.RFC3339), c, at.Add(2*time.Hour).Format(time.RFC3339))
		}
		r.broker.publish("weather/hours", hours(4))
		r.broker.publish("weather/hours", "warm")
		r.broker.items <- ingest.Item{Delivery: &ingest.Delivery{Topic: "weather/hours", Payload: []byte(hours(5)), QoS: 1, ID: 9, Retained: true, Ack: func() {}}}
		time.Sleep(time.Minute)
		synctest.Wait()
		if got := r.broker.acks(); len(got) != 2 {
			t.Errorf("got %d acknowledged, want 2", len(got))
		}
		var kept []float64
		err := r.journal.Replay(context.Background(), 0, func(e farm.Event) error {
			if e.Kind == farm.EventWeather {
				kept = append(kept, e.Weather.Hours[0].TempC)
			}
			return nil
		})
		if err != nil || len(kept) != 2 || kept[0] != 4 || kept[1] != 5 {
			t.Errorf("kept %v, %v, want 4 and 5", kept, err)
		}
	})
}

// A source that says the same every ten minutes fills no journal: the same words are
// kept anew after some hours, so that they do not grow too old to go by.
func TestTheSameWeatherIsKeptOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Now)
		r.broker.link(true, false)
		from, to := time.Now().UTC().Add(24*time.Hour).Format(time.RFC3339), time.Now().UTC().Add(36*time.Hour).Format(time.RFC3339)
		said := 0
		for range 6 * 7 {
			r.broker.publish("weather/hours", fmt.Sprintf(`[[%q, 4], [%q, 3]]`, from, to))
			said++
			time.Sleep(10 * time.Minute)
		}
		r.broker.publish("weather/hours", fmt.Sprintf(`[[%q, 5], [%q, 3]]`, from, to))
		time.Sleep(time.Minute)
		synctest.Wait()
		if got := len(r.broker.acks()); got != said+1 {
			t.Errorf("got %d acknowledged, want %d", got, said+1)
		}
		var kept []float64
		err := r.journal.Replay(context.Background(), 0, func(e farm.Event) error {
			if e.Kind == farm.EventWeather {
				kept = append(kept, e.Weather.Hours[0].TempC)
			}
			return nil
		})
		if err != nil || !slices.Equal(kept, []float64{4, 4, 5}) {
			t.Errorf("kept %v, %v, want 4, again after six hours, and 5", kept, err)
		}
	})
}
