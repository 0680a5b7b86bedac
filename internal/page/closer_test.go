package page_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

func TestBinPage(t *testing.T) {
	body := get(newPage(t, newFake().config()), "/bins/bed").Body.String()
	wantAll(t, body,
		`aria-current="true">2 days<`, "70 % Red worms", "about 3 kg of worms",
		"What warmth they like", "Fed about 2 kg of grain, near.", "Watered about 2 litres, near.",
		"Bed, near: 32 °C within 3 hours.", `href="#j-watered"`, `href="#j-fed"`,
		`class="spell now"`, `class="cone"`, `class="room"`, "the air around it", "<td>30.6 °C</td>", "glass-air", "bed-far-m",
	)
	wantNone(t, body, "Turned", "too dry at 67") // outside two days
}

func TestBinPageSpans(t *testing.T) {
	p := newPage(t, newFake().config())
	for span, line := range map[string]string{"2w": "Turned.", "3mo": "Stocked about 1 kg of red.", "1y": "Bed, near is too dry at 67 %."} {
		w := get(p, "/bins/bed?span="+span)
		wantAll(t, w.Body.String(), line)
	}
	wantAll(t, get(p, "/bins/bed?span=3mo").Body.String(), `class="spread"`, ">Jun</text>")
	if w := get(p, "/bins/bed?span=5y"); w.Code != http.StatusBadRequest {
		t.Errorf("span 5y: status %d", w.Code)
	}
	if w := get(p, "/bins/shed"); w.Code != http.StatusNotFound {
		t.Errorf("bin shed: status %d", w.Code)
	}
}

// TestCastingsReceivedAreMarked: sifting the bed into the crate is in the
// crate's logbook too.
func TestCastingsReceivedAreMarked(t *testing.T) {
	wantAll(t, get(newPage(t, newFake().config()), "/bins/crate?span=2w").Body.String(), `href="#j-sifted"`, "Sifted about 8 litres to crate from bed, far.")
}

// TestSpellsOfChanges holds the bars under a curve to the life of a condition:
// over, still on, and begun before the span.
func TestSpellsOfChanges(t *testing.T) {
	body := get(newPage(t, newFake().config()), "/bins/bed?span=3mo").Body.String()
	if n := strings.Count(body, `class="spell `); n != 3 {
		t.Errorf("%d spells are drawn, want three: too dry for a day, heating and ready to sift until now", n)
	}
}

func TestRoundsPage(t *testing.T) {
	body := get(newPage(t, newFake().config()), "/rounds").Body.String()
	wantAll(t, body,
		"The near end of the bed first", "about 2½ litres of water", "the 6 mm screen and a mask",
		"Sprinkle about 1 litre and fluff.", `name="what" value="watered"`, `name="amount" inputmode="decimal" autocomplete="off" value="1"`,
		`<select name="to" aria-label="Into, Bed, far">`, `<option value="crate" selected>into crate</option>`, `<option value="barrel">`,
		`name="what" value="finished"><button aria-label="No more to sift: Bed, far">`, `value="0.5"`, "P2 or N95 mask", "bed-m is not believed", "until tomorrow about 10 am", "190",
	)
	if n := strings.Count(body, `action="/seen"`); n != 3 {
		t.Errorf("%d lines can be marked as known, want 3: one is known already, one has nothing raised", n)
	}
}

// Sifting is jotted with one tap: the usual amount and tub are filled in. Before
// the first sifting there is a field for the amount all the same.
func TestSiftingIsDoneWithOneTap(t *testing.T) {
	for _, usual := range []float64{8, 0} {
		f := newFake()
		f.rounds.Care[2].Jot.Litres = usual
		body := get(newPage(t, f.config()), "/rounds").Body.String()
		_, body, _ = strings.Cut(body, `id="z-bed.far.sift-ready"`)
		body, _, _ = strings.Cut(body, "</form>")
		amount := ""
		if usual > 0 {
			amount = "8"
		}
		wantAll(t, body, `name="amount" inputmode="decimal" autocomplete="off" value="`+amount+`"`, `<option value="crate" selected>`, `name="zone" value="far"`)
	}
}

// What keeps no castings any more is not filled in.
func TestATubThatIsGoneIsNotFilledIn(t *testing.T) {
	f := newFake()
	f.rounds.Care[2].Jot.To = "loft"
	wantNone(t, get(newPage(t, f.config()), "/rounds").Body.String(), "loft", `selected>into`)
}

func TestNothingToDo(t *testing.T) {
	f := newFake()
	f.rounds = farm.Rounds{At: noon, Opening: "Nothing to do today."}
	wantAll(t, get(newPage(t, f.config()), "/rounds").Body.String(), "Nothing to do today.")
}

func TestProbesPage(t *testing.T) {
	f := newFake()
	f.view.Probes = append(f.view.Probes, farm.ProbeView{ID: "trough-m2", Measures: farm.Moisture})
	body := get(newPage(t, f.config()), "/probes").Body.String()
	wantAll(t, body,
		"Three probes need a look.", "not believed, 4 minutes ago", "Not believed: disagrees with its twin.", "raw 2290", "<span>bed-t</span><small>Bed, near</small><b>30.6 °C</b>", "<summary>12 speaking and believed</summary>",
		"silent, 9 hours ago", "3 refused: not a number", "never heard, never", "3.21 V", "the air around bed",
		"Its own time is not believed", "12 unclaimed", "78 doubted",
	)
	if strings.Index(body, "bed-m<") > strings.Index(body, "bed-t<") {
		t.Error("a probe in trouble stands below one that is well")
	}
	f.view.Probes = f.view.Probes[2:4]
	wantAll(t, get(newPage(t, f.config()), "/probes").Body.String(), "Every probe speaks and is believed.", `href="/reliability"`)
	wantAll(t, get(newPage(t, f.config()), "/reliability").Body.String(), "Heard 71 % of the time; dropped out 14 times; 9.7 % not believed, mostly: frozen",
		"calibrated longer ago", "if they are sound, replace it.")
	without := f.config()
	without.Reliability = nil
	if w := get(newPage(t, without), "/reliability"); w.Code != 404 {
		t.Errorf("without a journal it answers %d", w.Code)
	}
}

func TestProbePage(t *testing.T) {
	p := newPage(t, newFake().config())
	wantAll(t, get(p, "/probes/bed-m").Body.String(), "topic <code>shed/bed-m</code>", "raw 1420 is 84", `name="raw1" value="2290"`)
	if w := get(p, "/probes/none"); w.Code != http.StatusNotFound {
		t.Errorf("status %d", w.Code)
	}
	wantNone(t, get(p, "/probes/bed-t").Body.String(), "wet, g") // a temperature cannot be weighed
}

func TestCalibration(t *testing.T) {
	tests := []struct {
		name, probe, query, want string
	}{
		// 263.4 g wet and 221.8 g dry in a tin of 21.7 g is 17.21 % wet basis
		// (computed; 20.79 % on the dry basis of ASTM D2216).
		{"weighed and told", "bed-m", "raw1=1420&truth1=84&raw2=2850&wet2=263.4&dry2=221.8&tin2=21.7", "calibration: [{raw: 1420, moisture: 84%}, {raw: 2850, moisture: 17.2%}]"},
		// 10 g dried to 2.3 g is 77 % (Cornell Waste Management Institute).
		{"weighed without a tin", "bed-m", "raw1=1000&wet1=10&dry1=2.3&raw2=2000&truth2=20%25", "[{raw: 1000, moisture: 77%}, {raw: 2000, moisture: 20%}]"},
		{"decimal comma", "bed-m", "raw1=1,5&truth1=20,5&raw2=0,5&truth2=80", "[{raw: 0.5, moisture: 80%}, {raw: 1.5, moisture: 20.5%}]"},
		{"temperature", "bed-t", "raw1=0&truth1=0&raw2=100&truth2=101", "[{raw: 0, temperature: 0C}, {raw: 100, temperature: 101C}]"},
		{"close together", "bed-m", "raw1=1&truth1=50&raw2=2&truth2=60", "They lie close together"},
		{"one sample", "bed-m", "raw1=1&truth1=50", "Two samples at least are needed"},
		{"same raw", "bed-m", "raw1=1&truth1=50&raw2=1&truth2=60", "the same raw value"},
		{"turning back", "bed-m", "raw1=1&truth1=50&raw2=2&truth2=60&raw3=3&truth3=55", "turns back"},
		{"flat", "bed-m", "raw1=1&truth1=50&raw2=2&truth2=50", "turns back"},
		{"both ways", "bed-m", "raw1=1&truth1=50&wet1=3&dry1=2&raw2=2&truth2=60", "not both"},
		{"no truth", "bed-m", "raw1=1&raw2=2&truth2=60", "the true value is missing"},
		{"no raw", "bed-m", "truth1=50&raw2=2&truth2=60", "Row 1, raw"},
		{"no number", "bed-m", "raw1=many&truth1=50&raw2=2&truth2=60", "&#34;many&#34; is no number"},
		{"not finite", "bed-m", "raw1=NaN&truth1=50&raw2=2&truth2=60", "is no number"},
		{"over a hundred", "bed-m", "raw1=1&truth1=150&raw2=2&truth2=60", "between 0 and 100 %"},
		{"drier than its tin", "bed-m", "raw1=1&wet1=30&dry1=20&tin1=25&raw2=2&truth2=60", "dry more than the empty tin"},
		{"weighed warmth", "bed-t", "raw1=1&wet1=30&dry1=20&raw2=2&truth2=60", "only moisture can be weighed"},
	}
	p := newPage(t, newFake().config())
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			w := get(p, "/probes/"+tt.probe+"?"+tt.query)
			if w.Code != http.StatusOK {
				t.Fatalf("status %d", w.Code)
			}
			wantAll(t, w.Body.String(), tt.want)
		})
	}
}

// TestCalibrationKeysAreQuoted: what YAML would take for something else than a
// name is quoted (YAML 1.1 §10.3.2 and 1.2 §10.3 for the words).
func TestCalibrationKeysAreQuoted(t *testing.T) {
	for id, want := range map[string]string{"bed-m": "  bed-m:", "no": "  &#34;no&#34;:", "12": "  &#34;12&#34;:", "a: b": "  &#34;a: b&#34;:"} {
		f := newFake()
		f.farm.Probes[1].ID, f.view.Probes[1].ID = id, id
		at := strings.ReplaceAll(id, " ", "%20")
		wantAll(t, get(newPage(t, f.config()), "/probes/"+at+"?raw1=1&truth1=10&raw2=2&truth2=60").Body.String(), want)
	}
}

func TestFoodAndWaterWords(t *testing.T) {
	tests := []struct {
		left float64
		want string
	}{
		{0.95, "nearly all of it is left"}, {0.75, "about three quarters are left"}, {0.5, "about half is left"},
		{0.25, "about a quarter is left"}, {0.05, "nearly gone"},
	}
	for _, tt := range tests {
		f := newFake()
		f.view.Bins[0].Zones[0].Food = []farm.FoodView{{At: ago(3 * 24 * time.Hour), LeftPart: tt.left}}
		wantAll(t, get(newPage(t, f.config()), "/").Body.String(), "Food, fed 6 July: "+tt.want+".")
	}
}

// What the database refused for good is on the page of probes, in its words and
// harmless.
func TestRefusedRowsAreShown(t *testing.T) {
	f := newFake()
	p := newPage(t, f.config())
	if body := get(p, "/probes").Body.String(); strings.Contains(body, "refused for good") {
		t.Error("rows are said to be refused where none is")
	}
	f.view.Passing = &farm.PassingOn{Refusals: 12, Newest: []farm.Refusal{
		{At: ago(2 * time.Hour), Reason: "400: field type conflict <b>", Line: "bin_levels,probe=bed-m moisture_pct=77.5 1"}}}
	wantAll(t, get(p, "/probes").Body.String(), "Rows that the database has refused for good: 12<",
		"About noon: 400: field type conflict &lt;b&gt;", "bin_levels,probe=bed-m moisture_pct=77.5 1")
}
