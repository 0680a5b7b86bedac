package page_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// withTable puts a probe of every quantity that a zone's limits may judge into
// the crate. Each level is a tenth over its limit but that of humidity, which
// has none.
func withTable(f *fake) {
	zone := &f.farm.Bins[4].Zones[0]
	zone.Limits = map[farm.Quantity]farm.Band{}
	levels := f.view.Bins[4].Zones[0].Levels
	for q, limit := range map[farm.Quantity]float64{farm.Humidity: 0, farm.Weight: 30, farm.CO2: 2000, farm.PH: 7, farm.Conductivity: 3} {
		id := "crate-" + string(q)
		f.farm.Probes = append(f.farm.Probes, farm.Probe{
			ID: id, Topic: "shed/" + id, Measures: q, Unit: q.Row().Units[0].Unit, Every: 10 * time.Minute,
			Calibration: []farm.Point{{Raw: 1, Value: 400}, {Raw: 2, Value: 800}},
		})
		zone.Probes = append(zone.Probes, id)
		level := level(81.4, farm.Bands{})
		if limit > 0 {
			zone.Limits[q] = farm.Band{High: limit}
			level.Value = limit * 1.1
			level.Limits = []farm.Limit{{Condition: farm.PastLimit, Urgency: farm.Today}, {Condition: farm.PastLimit, Urgency: farm.Today, At: limit}}
		}
		levels[q] = level
		f.view.Probes = append(f.view.Probes, farm.ProbeView{ID: id, Measures: q, Value: &level.Value, At: level.At, Fresh: true})
	}
	f.view.Standing = append(f.view.Standing, farm.Standing{
		Episode: "e10", Bin: "crate", Zone: "all", Condition: farm.PastLimit, Quantity: farm.CO2, Urgency: farm.Today,
		Since: ago(time.Hour), Text: "Crate has its CO2 at 2200 ppm.", Cautions: farm.CO2.Row().Above.Cautions,
	})
}

// What the table holds beside temperature and moisture has its number, its word
// where a zone gives limits, and its curve, under its own name.
func TestQuantitiesOfTheTableAreShown(t *testing.T) {
	f := newFake()
	withTable(f)
	p := newPage(t, f.config())
	for _, path := range []string{"/", "/bins/crate"} {
		body := get(p, path).Body.String()
		for _, want := range []struct{ name, value, word string }{
			{"air humidity", "81 %", ""}, {"weight", "33 kg", "above its limit"}, {"CO2", "2200 ppm", "above its limit"},
			{"pH", "7.7", "above its limit"}, {"conductivity", "3.3 mS/cm", "above its limit"},
		} {
			_, gauge, ok := strings.Cut(body, `<span class="name">`+want.name+`</span> <b>`+want.value+`</b>`)
			caption, rest, _ := strings.Cut(gauge, "</figcaption>")
			picture, _, _ := strings.Cut(rest, "</figure>")
			if !ok || !strings.Contains(caption, want.word) || want.word == "" && strings.Contains(caption, `class="word"`) {
				t.Errorf("%s: %s is not shown as %s, %q: %s", path, want.name, want.value, want.word, caption)
			}
			if !strings.Contains(picture, `aria-label="`+farm.Capital(want.name)+" over 2 days") || strings.Contains(picture, "url(#g-harm)") != (want.word != "") {
				t.Errorf("%s: the picture of %s lacks its name or its limits: %.300s", path, want.name, picture)
			}
		}
		wantAll(t, body, "<b>CO2 past its limit</b>", "Take care.")
	}
	wantAll(t, get(p, "/probes/crate-co2").Body.String(), "CO2", "2200 ppm", "true ppm", "raw 2 is 800 (ppm)")
	battery := f.farm.Probes[13] // its charge, not its voltage
	battery.ID, battery.Unit = "lamp", farm.Percent
	f.farm.Probes = append(f.farm.Probes, battery)
	charge := 48.0
	f.view.Probes = append(f.view.Probes, farm.ProbeView{ID: "lamp", Measures: farm.Battery, Value: &charge, At: noon, Fresh: true})
	wantAll(t, get(p, "/probes/lamp").Body.String(), "48 %", "Battery over 2 days, from ", " %.")
	wantAll(t, get(p, "/probes").Body.String(), "</span><small>Crate</small><b>3.3 mS/cm</b>")
	wantAll(t, get(p, "/probes/crate-ph?raw1=1&truth1=4&raw2=2&truth2=7").Body.String(), "calibration: [{raw: 1, ph: 4}, {raw: 2, ph: 7}]")
	for query, status := range map[string]int{"quantity=co2": http.StatusOK, "quantity=light": http.StatusBadRequest} {
		if w := get(p, "/api/history?zone=crate&"+query); w.Code != status {
			t.Errorf("%s: status %d, want %d", query, w.Code, status)
		}
	}
}
