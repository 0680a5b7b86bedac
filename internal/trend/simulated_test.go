package trend_test

import (
	"testing"

	"binwatchd/internal/efforttest"
)

// Recall, lead, false raises and coverage on bins of other physics. Pinned
// loosely: the table of a longer run stands in BenchmarkHeatingTable.
func TestHeatingOnSimulatedBins(t *testing.T) {
	efforttest.Long(t)
	each, all := simulateHeat(t, 60)
	for k, h := range each {
		if h.hits < h.events-1 {
			t.Errorf("%s: hit %d of %d", heatScenarios[k].name, h.hits, h.events)
		}
		if lead := quantileOf(h.leads, 0.5); lead < 5 {
			t.Errorf("%s: median lead %.1f h, want at least 5", heatScenarios[k].name, lead)
		}
	}
	if all.events < 50 || all.quiet < 100 {
		t.Fatalf("the scenarios tell little: %d events, %d quiet bins", all.events, all.quiet)
	}
	if float64(all.hits) < 0.98*float64(all.events) {
		t.Errorf("hit %d of %d events", all.hits, all.events)
	}
	if lead := quantileOf(all.leads, 0.5); lead < 6 {
		t.Errorf("median lead %.1f h, want at least 6", lead)
	}
	if float64(all.falseNow) > all.months/100 {
		t.Errorf("%d false raises of now in %.0f bin-months", all.falseNow, all.months)
	}
	for k, lead := range fixedLeads {
		if part := all.told.part(k); part < 0.65 || part > 0.93 {
			t.Errorf("at %v h the 80 %% interval held %.0f %% of crossings", lead, 100*part)
		}
	}
}

// Recall, lead, false raises and coverage on banks of other physics. Pinned
// loosely: the table of a longer run stands in BenchmarkDryingTable.
func TestDryingOnSimulatedBanks(t *testing.T) {
	efforttest.Long(t)
	each, all := simulateDry(t, 25)
	for k, d := range each {
		if d.hits < d.events-1 {
			t.Errorf("%s: hit %d of %d", dryScenarios[k].name, d.hits, d.events)
		}
		if lead := quantileOf(d.leads, 0.5); d.events > 0 && lead < 3 {
			t.Errorf("%s: median lead %.1f days, want at least 3", dryScenarios[k].name, lead)
		}
	}
	if all.events < 100 || all.hits < all.events-1 {
		t.Errorf("hit %d of %d events", all.hits, all.events)
	}
	if float64(all.falseRaises) > all.months/10 {
		t.Errorf("%d false raises in %.0f bin-months", all.falseRaises, all.months)
	}
	for k, lead := range dryLeads {
		if part := all.told.part(k); part < 0.66 || part > 0.93 {
			t.Errorf("at %d days the 80 %% interval held %.0f %% of crossings", lead/24, 100*part)
		}
	}
}
