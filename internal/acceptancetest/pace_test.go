package acceptancetest_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"binwatchd/internal/acceptancetest"
	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
	"binwatchd/internal/scenariotest"
)

// Slow probes are foretold like others: of those that speak up to once an hour
// nearly every heating, with a lead within a fifth of that at ten minutes; every
// two hours with six hours of lead.
func TestHeatingIsToldAtAnyPace(t *testing.T) {
	t.Parallel()
	at := func(every time.Duration) acceptancetest.Score {
		s := acceptancetest.Heatings(scenariotest.Paced(scenariotest.Suite(scenariotest.Heating, efforttest.Cases(5, 48), 100, start), every))
		report(t, fmt.Sprint("heating every ", every), s)
		if s.Recall() < 0.95 || s.False > 0 {
			t.Errorf("every %s: got recall %.2f and %d false, want nearly every heating told and none false", every, s.Recall(), s.False)
		}
		return s
	}
	usual := at(10 * time.Minute).MedianLead()
	at(time.Minute) // six hundred readings an hour are thinned, and tell no less
	for _, every := range []time.Duration{30 * time.Minute, time.Hour} {
		if got := at(every).MedianLead(); got < usual*4/5 || got > usual*6/5 {
			t.Errorf("every %s: got a median lead of %s, want it near the %s of every ten minutes", every, got, usual)
		}
	}
	if got := at(2 * time.Hour).MedianLead(); got < 6*time.Hour {
		t.Errorf("every two hours: got a median lead of %s, want six hours", got)
	}
}

// One heap, seen by probes that differ only in the minute at which they speak:
// all are told of, hours ahead.
func TestTheMinuteAtWhichAProbeSpeaksDoesNotMatter(t *testing.T) {
	t.Parallel()
	heap := scenariotest.Case{Kind: scenariotest.Heating, Bin: scenariotest.Bed, Room: scenariotest.House, Probe: scenariotest.Fine, Seed: 122, Start: start, Days: 8, Ambient: true}
	step := 60 / efforttest.Cases(10, 30)
	for _, every := range []time.Duration{time.Hour, 2 * time.Hour} {
		var all acceptancetest.Score
		for minute := 0; minute < 60; minute += step {
			c := heap
			c.Every, c.Phase = every, every*time.Duration(minute)/60
			s := acceptancetest.Heatings([]scenariotest.Case{c})
			all.Due, all.Told, all.Leads = all.Due+s.Due, all.Told+s.Told, append(all.Leads, s.Leads...)
		}
		least, most := slices.Min(all.Leads), slices.Max(all.Leads)
		t.Logf("every %s: told %d of %d, from %s to %s ahead", every, all.Told, all.Due, least, most)
		if all.Due < 60/step {
			t.Fatalf("the heap crosses the limit in %d bins; the test shows little", all.Due)
		}
		if all.Told < all.Due || least < 5*time.Hour || all.MedianLead() < 6*time.Hour || most-least > 2*every+3*time.Hour {
			t.Errorf("every %s: told %d of %d, from %s to %s ahead; want all of them six hours ahead, about alike", every, all.Told, all.Due, least, most)
		}
	}
}

// Drying and the sifting window need no more than a reading every six hours.
func TestDryingIsToldAtAnyPace(t *testing.T) {
	t.Parallel()
	for _, every := range []time.Duration{6 * time.Hour, 2 * time.Hour, 4 * time.Hour}[:efforttest.Cases(1, 3)] {
		s := acceptancetest.Dryings(scenariotest.Paced(scenariotest.Suite(scenariotest.Drying, efforttest.Cases(3, 16), 900, start), every))
		opens, closes := acceptancetest.Siftings(scenariotest.Paced(scenariotest.Suite(scenariotest.Sifting, efforttest.Cases(3, 12), 1300, start), every))
		for name, s := range map[farm.Condition]acceptancetest.Score{farm.Drying: s, farm.SiftReady: opens, farm.SiftPassing: closes} {
			report(t, fmt.Sprint(name, " every ", every), s)
			if s.Due == 0 || s.Recall() < 0.95 || s.False > 0 {
				t.Errorf("%s every %s: told %d of %d and %d false, want all and none", name, every, s.Told, s.Due, s.False)
			}
		}
		if got := s.MedianLead(); got < 5*24*time.Hour {
			t.Errorf("drying every %s: got a median lead of %s, want days", every, got)
		}
	}
}
