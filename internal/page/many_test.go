package page_test

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// nursery is an invented farm of n bins, all well, in as many sheds of the same air,
// and the last five in none.
func nursery(n int, sheds ...string) *fake {
	f := newFake()
	f.rough = true
	f.farm.Probes, f.farm.Bins, f.view.Bins, f.view.Probes, f.view.Standing = nil, nil, nil, nil, nil
	for _, name := range sheds {
		f.farm.Rooms = append(f.farm.Rooms, farm.Room{Name: name})
	}
	for i := range n {
		shed := ""
		if len(sheds) > 0 && i < n-5 {
			shed = sheds[i*len(sheds)/(n-5)]
		}
		name := fmt.Sprintf("%s-%03d", strings.ToLower(cmp.Or(shed, "yard")), i)
		t, m := name+"-t", name+"-m"
		for id, q := range map[string]farm.Quantity{t: farm.Temperature, m: farm.Moisture} {
			f.farm.Probes = append(f.farm.Probes, farm.Probe{ID: id, Topic: "shed/" + id, Measures: q, Every: 10 * time.Minute})
		}
		f.farm.Bins = append(f.farm.Bins, farm.Bin{Name: name, Room: shed, Species: []farm.Share{{Species: "red", Fraction: 1}},
			Zones: []farm.Zone{{Name: "all", Aim: farm.Living, Probes: []string{t, m}}}})
		f.view.Bins = append(f.view.Bins, farm.BinView{Name: name, Place: shed, Zones: []farm.ZoneView{{Bin: name, Zone: "all", Aim: farm.Living,
			Levels: farm.Levels{farm.Temperature: level(17+float64(i%17)/3, redT), farm.Moisture: level(72+float64(i%11), redM)}}}})
		for _, id := range []string{t, m} {
			p, _ := f.farm.ProbeByID(id)
			f.view.Probes = append(f.view.Probes, farm.ProbeView{ID: id, Measures: p.Measures, At: ago(time.Minute), Fresh: true, Value: ptr(20.0)})
		}
	}
	slices.SortFunc(f.farm.Probes, func(a, b farm.Probe) int { return strings.Compare(a.ID, b.ID) })
	return f
}

// raise raises a condition in a bin.
func (f *fake) raise(bin string, c farm.Condition, u farm.Urgency) {
	f.view.Standing = append(f.view.Standing, farm.Standing{Episode: bin + string(c), Bin: bin, Zone: "all", Condition: c, Urgency: u, Since: ago(time.Hour), Text: "It is so."})
	slices.SortStableFunc(f.view.Standing, func(a, b farm.Standing) int { return int(b.Urgency) - int(a.Urgency) })
}

// probe is the view of a probe.
func (f *fake) probe(id string) *farm.ProbeView {
	return &f.view.Probes[slices.IndexFunc(f.view.Probes, func(p farm.ProbeView) bool { return p.ID == id })]
}

// zone is the view of a bin's only zone.
func (f *fake) zone(bin string) *farm.ZoneView {
	i := slices.IndexFunc(f.view.Bins, func(b farm.BinView) bool { return b.Name == bin })
	return &f.view.Bins[i].Zones[0]
}

// Up to twelve bins each is shown with its curves, from thirteen on in rows.
func TestManyBinsAreRows(t *testing.T) {
	if body := get(newPage(t, nursery(12).config()), "/").Body.String(); len(order(body)) != 12 || strings.Contains(body, `class="strip"`) {
		t.Errorf("twelve bins: %d are shown whole", len(order(body)))
	}
	f := nursery(13)
	body := get(newPage(t, f.config()), "/").Body.String()
	wantAll(t, body, "<h2>All bins <small>13 bins</small>", "<summary>13 with nothing wrong · 17 °C to 21 °C · 72 % to 82 %</summary>", `<details id="calm-0" open>`)
	if n := strings.Count(body, `<a href="/bins/`); n != 13 || len(order(body)) != 0 {
		t.Errorf("thirteen bins: %d rows, %d shown whole", n, len(order(body)))
	}
}

// The rows of a place stand under its name; what wants a hand stands above what is well.
func TestRowsSayTheOneNumberThatMatters(t *testing.T) {
	f := nursery(40, "linden", "north shed")
	f.zone("linden-003").Levels[farm.Temperature] = level(3.2, redT)
	f.raise("linden-003", farm.TooCold, farm.Now)
	f.zone("linden-005").Levels[farm.Moisture] = level(63, redM)
	f.raise("linden-005", farm.TooDry, farm.Today)
	f.zone("linden-007").Unjudged = "no fresh reading"
	f.zone("linden-007").Levels = nil
	f.zone("linden-009").Levels[farm.Moisture] = level(86, redM) // past thrive, nothing raised
	f.raise("north shed-020", farm.TooWet, farm.Today)
	f.view.Standing[len(f.view.Standing)-1].Seen = true
	f.raise("linden-011", farm.FeedDue, farm.Soon)
	body := get(newPage(t, f.config()), "/").Body.String()
	wantAll(t, body, `<span>Linden-011</span><small>feed due</small><b></b>`, "One thing needs you now, one today, one soon.", "<h2>Linden <small>", "<h2>North shed <small>", "<h2>Elsewhere <small>5 bins",
		`<use href="#u-now"/></svg><span>Linden-003</span><small>too cold</small><b>3.2 °C</b>`,
		`<span>Linden-005</span><small>too dry</small><b>63 %</b>`, `<span>Linden-007</span><small>can&#39;t be judged</small><b>–</b>`,
		`<span>Linden-009</span><small>wetter than they like</small><b>86 %</b>`, `<small>too wet, you know of it</small>`,
		"1 kept quiet or known of", `<a href="/bins/linden-003#z-linden-003.all">`)
	at := func(name string) int { return strings.Index(body, "<span>"+name+"<") }
	if !(at("Linden-003") < at("Linden-005") && at("Linden-005") < at("Linden-007") && at("Linden-007") < at("Linden-000") && at("Linden-000") < at("Linden-001")) {
		t.Error("the rows of a place are not in order of need")
	}
}

// What needs a keeper is listed up to eight, the others are one tap away.
func TestTheListIsFoldedAfterEight(t *testing.T) {
	f := nursery(40, "linden")
	for _, b := range f.farm.Bins[:20] {
		f.raise(b.Name, farm.TooDry, farm.Today)
	}
	_, list, _ := strings.Cut(get(newPage(t, f.config()), "/").Body.String(), `id="wanted"`)
	head, rest, ok := strings.Cut(list, `<details id="rest"><summary>and 12 more</summary>`)
	rest, _, _ = strings.Cut(rest, "</details>")
	if n, m := strings.Count(head, "#z-"), strings.Count(rest, "#z-"); !ok || n != 8 || m != 12 {
		t.Errorf("folded %v: %d are seen and %d folded", ok, n, m)
	}
}

// Found by what its row says and by its place; one that is alone is gone to at once.
func TestFindWithoutScripts(t *testing.T) {
	f := nursery(40, "linden", "north shed")
	f.raise("linden-003", farm.TooCold, farm.Now)
	p := newPage(t, f.config())
	for find, want := range map[string]int{"Linden": 18, "  LINDEN+01 ": 8, "north": 17, "elsewhere": 5, "zebra": 0, "%3Cb%3E": 0, "": 40} {
		w := get(p, "/?find="+strings.ReplaceAll(find, " ", "%20"))
		if n := strings.Count(w.Body.String(), `<a href="/bins/`+""); w.Code != http.StatusOK || want > 0 && n < want || want == 0 && n != 0 {
			t.Errorf("find %q: status %d, %d rows, want %d", find, w.Code, n, want)
		}
		wantNone(t, w.Body.String(), "<b></b>")
	}
	wantAll(t, get(p, "/?find=zebra").Body.String(), `No bin says zebra. <a href="/">All bins</a>`, `value="zebra"`)
	if w := get(p, "/?find=too+cold"); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/bins/linden-003" {
		t.Errorf("one alone: status %d, to %q", w.Code, w.Header().Get("Location"))
	}
	if w := get(p, "/?find=a&find=b"); w.Code != http.StatusBadRequest {
		t.Errorf("asked twice: status %d", w.Code)
	}
}

// A front page of 200 bins comes in 60 kB or less, on a bad day too.
func TestWeightOfManyBins(t *testing.T) {
	well, bad := nursery(200, "linden", "north shed", "cellar"), nursery(200, "linden", "north shed", "cellar")
	for _, b := range bad.farm.Bins {
		bad.raise(b.Name, farm.TooCold, farm.Now)
		bad.raise(b.Name, farm.TooDry, farm.Today)
	}
	for name, f := range map[string]*fake{"all well": well, "every bin cold and dry": bad} {
		r := request(http.MethodGet, "/", nil)
		r.Header.Set("Accept-Encoding", "gzip")
		w := serve(newPage(t, f.config()), r)
		if n := w.Body.Len(); w.Header().Get("Content-Encoding") != "gzip" || n > 60_000 {
			t.Errorf("%s: %q, %d bytes", name, w.Header().Get("Content-Encoding"), n)
		} else {
			t.Logf("%s: %d bytes compressed", name, n)
		}
	}
}

// On a phone 200 bins that are well are four screens or fewer; what is typed leaves
// the rows that say it, and clearing the field gives all back as it was.
func TestManyBinsOnAPhone(t *testing.T) {
	f := nursery(200, "linden", "north shed", "cellar")
	b := open(t, startChromium(t), server(t, newPage(t, f.config())), phone)
	b.visit(t, "/")
	tall := func() int64 { return eval[int64](t, b, `document.documentElement.scrollHeight`) }
	well := tall()
	if well > 4*phone.height {
		t.Errorf("all well: %d px tall, %.1f screens", well, float64(well)/float64(phone.height))
	}
	t.Logf("all well: %d px", well)
	for _, path := range []string{"/probes", "/jot"} {
		if b.visit(t, path); tall() > 4*phone.height {
			t.Errorf("%s: %d px tall", path, tall())
		}
	}
	b.visit(t, "/")
	typed := func(text string) []string {
		return eval[[]string](t, b, fmt.Sprintf(`(() => { const f = document.querySelector("#find"); f.value = %q; f.dispatchEvent(new Event("input", {bubbles: true}));
			return [...document.querySelectorAll(".rows a span")].filter((s) => s.checkVisibility()).map((s) => s.textContent); })()`, text))
	}
	if got := typed("Lin 012"); !slices.Equal(got, []string{"Linden-012"}) {
		t.Errorf("typed Lin 012: %q", got)
	}
	if got := typed("elsewhere"); len(got) != 5 {
		t.Errorf("typed elsewhere: %q", got)
	}
	if got := typed(""); len(got) != 0 || tall() != well {
		t.Errorf("cleared: %d rows lie open, %d px", len(got), tall())
	}
	f.change(func(f *fake) { f.probe("linden-012-t").Doubt = farm.Frozen.String() })
	b.visit(t, "/probes")
	if got := typed("lin 012"); !slices.Equal(got, []string{"linden-012-m"}) || !eval[bool](t, b, `document.querySelector(".probes > li").checkVisibility()`) {
		t.Errorf("typed lin 012 among the probes: %q", got)
	}
	if typed("zebra"); eval[bool](t, b, `document.querySelector(".probes > li").checkVisibility()`) {
		t.Error("the probe in trouble stays where zebra is looked for")
	}
	b.quiet(t)
}

// Rows are read and pressed as the other pages are; pictures of a bad day are kept.
func TestManyBinsAreSeenAndPressed(t *testing.T) {
	f := nursery(60, "linden", "north shed", "cellar")
	for i, b := range f.farm.Bins[:20] {
		f.raise(b.Name, []farm.Condition{farm.TooCold, farm.TooDry, farm.FeedDue}[i%3], []farm.Urgency{farm.Now, farm.Today, farm.Soon}[i%3])
	}
	f.zone("linden-015").Unjudged = "no fresh reading"
	f.zone("linden-017").Levels[farm.Moisture] = level(86, redM)
	f.probe("linden-003-m").Doubt = farm.Frozen.String()
	f.probe("north shed-030-t").Fresh = false
	f.lately = []farm.Jot{{Bin: "linden-007", Zone: "all"}, {Bin: "cellar-050", Zone: "all"}}
	b := open(t, startChromium(t), server(t, newPage(t, f.config())), phone)
	for _, s := range []size{{"320", 320, 640, true}, {"420", 420, 800, true}, {"1440", 1440, 900, false}} {
		b.resize(t, s)
		for _, dark := range []bool{false, true} {
			b.dark(t, dark)
			for name, path := range map[string]string{"many": "/", "many-found": "/?find=linden+01", "many-probes": "/probes", "many-where": "/jot"} {
				b.visit(t, path)
				for _, poor := range append(eval[[]string](t, b, reachScript), eval[[]string](t, b, contrastScript)...) {
					t.Errorf("%s, %s, dark %v: %s", path, s.name, dark, poor)
				}
				b.picture(t, fmt.Sprintf("%s-%s-%v", name, s.name, map[bool]string{false: "light", true: "dark"}[dark]))
			}
		}
	}
	b.quiet(t)
}

// Of many probes those that are well lie folded by place; one in trouble is shown at
// length. What is looked for is found by its bin and by its trouble.
func TestProbesByPlace(t *testing.T) {
	f := nursery(60, "linden", "north shed")
	f.farm.Rooms[0].Air = "linden-air"
	f.farm.Probes = append(f.farm.Probes, farm.Probe{ID: "linden-air", Measures: farm.Temperature})
	f.view.Probes = append(f.view.Probes, farm.ProbeView{ID: "linden-air", Measures: farm.Temperature, At: ago(time.Minute), Fresh: true, Value: ptr(12.0)})
	f.probe("linden-003-m").Doubt = farm.Frozen.String()
	f.probe("north shed-030-t").Fresh = false
	f.probe("linden-004-t").Flags = []string{"misdated"}
	p := newPage(t, f.config())
	body := get(p, "/probes").Body.String()
	wantAll(t, body, "Two probes need a look.", "<h2>Linden <small>57 probes", "<h2>Elsewhere <small>10 probes", "<summary>55 speaking and believed</summary>",
		"Not believed: "+farm.Frozen.String()+".", "Its own time is not believed", "<span>linden-air</span><small>the air of linden</small><b>12 °C</b>")
	if n := strings.Count(body, `class="what"`); n != 3 || strings.Contains(body, "<details id=\"calm-0\" open") {
		t.Errorf("%d probes are shown at length, want 3, and the others folded", n)
	}
	for find, want := range map[string]int{"linden+moisture": 0, "LINDEN-00+-m": 10, "north+silent": 303, "zebra": 0, "": 121} {
		w := get(p, "/probes?find="+find)
		if n := strings.Count(w.Body.String(), `<a href="/probes/`); want != w.Code && n != want {
			t.Errorf("find %q: status %d, %d probes, want %d", find, w.Code, n, want)
		}
	}
}

// Where something was done is chosen by place, after the places of the last lines.
func TestWhereOfManyPlaces(t *testing.T) {
	f := nursery(60, "linden", "north shed")
	for _, at := range []farm.Place{{Bin: "linden-007", Zone: "all"}, {Bin: "gone", Zone: "all"}, {Bin: "linden-007", Zone: "all"}, {Bin: "yard-058"}, {Bin: "linden-001", Zone: "gone"}} {
		f.lately = append(f.lately, farm.Jot{Bin: at.Bin, Zone: at.Zone, What: farm.Watered})
	}
	p := newPage(t, f.config())
	body := get(p, "/jot").Body.String()
	_, last, _ := strings.Cut(body, "<h2>Used last</h2>")
	last, strips, _ := strings.Cut(last, "</section>")
	if n := strings.Count(last, "<a "); n != 2 || strings.Index(last, "Linden-007") > strings.Index(last, "Yard-058") {
		t.Errorf("used last are %d: %s", n, last)
	}
	if n := strings.Count(strips, `<a href="/jot?`); n != 60 {
		t.Errorf("%d places to choose, want 60", n)
	}
	wantAll(t, strips, "<h2>Linden <small>28 zones</small>", `<details id="calm-0"><summary>Linden-000 to Linden-027</summary>`, "<span>Yard-058</span>")
	wantAll(t, get(p, "/jot?find=yard-05").Body.String(), "<summary>Yard-055 to Yard-059</summary>")
	wantAll(t, get(p, "/jot?find=zebra").Body.String(), "No place says zebra.", "In your own words")
	if w := get(p, "/jot?find=linden-007"); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/jot?bin=linden-007&zone=all" {
		t.Errorf("one alone: status %d, to %q", w.Code, w.Header().Get("Location"))
	}
	f.change(func(f *fake) { f.broken = errors.New("no disk") })
	wantAll(t, get(p, "/jot").Body.String(), "<span>Yard-058</span>")
	if body := get(newPage(t, nursery(13).config()), "/jot").Body.String(); !strings.Contains(body, `<details id="calm-0" open>`) {
		t.Error("the places of a farm of one place are folded")
	}
}

// A card tells for how long something has been so, and once.
func TestACardTellsHowLong(t *testing.T) {
	body := get(newPage(t, newFake().config()), "/bins/bed").Body.String()
	wantAll(t, body, "don&#39;t mind yet. <small>For 3 hours.</small>")
	wantNone(t, body, "Since ")
}

// What bins suffer from together is one thing on top, with its bins folded under it and a
// button for each and for all; what is hushed or known of it is left out.
func TestACauseIsOneThingOnTop(t *testing.T) {
	f := nursery(40, "linden")
	var ids []string
	for _, b := range f.farm.Bins[:14] {
		f.raise(b.Name, farm.TooCold, farm.Now)
		ids = append(ids, b.Name+string(farm.TooCold))
	}
	f.raise("linden-020", farm.TooDry, farm.Today)
	f.view.Standing[0].Seen = true
	f.view.Causes = []farm.Shared{{
		Urgency: farm.Now, Title: "Linden: heating off?", Brief: "Air 4 °C; 14 bins in danger of cold", Do: "See to the heating.", Place: "linden", Episodes: ids,
	}}
	p := newPage(t, f.config())
	body := get(p, "/").Body.String()
	_, body, _ = strings.Cut(body, "<main")
	wantAll(t, body, "One thing needs you now, one today.", "Linden: heating off?", "Air 4 °C; 14 bins in danger of cold.", "See to the heating.", "I know of all 13",
		"<summary>Linden-001 to 013</summary>", `aria-label="I know: Linden-001, too cold"`, `aria-label="Quiet: Linden-013, too cold"`)
	_, list, _ := strings.Cut(body, `class="wants"`)
	list, _, _ = strings.Cut(list, "</ol>")
	if strings.Contains(list, "cold") || !strings.Contains(list, "Linden-020") {
		t.Errorf("the list has what the cause says:\n%s", list)
	}
	if w := post(p, "/seen", url.Values{"id": {strings.Join(ids[1:], " ")}, "back": {"/"}}); w.Code != http.StatusSeeOther {
		t.Errorf("got %d", w.Code)
	}
	if got := f.done(); len(got) != 13 || got[12].Seen.Episode != ids[13] {
		t.Errorf("got %+v", got)
	}
	f.change(func(f *fake) {
		for i := range f.view.Standing {
			f.view.Standing[i].Seen = true
		}
	})
	if body := get(p, "/").Body.String(); strings.Contains(body, "heating off?") {
		t.Error("a cause stands on top of which all is known")
	}
}

// The rounds go from place to place, each under its name as one comes to it.
func TestRoundsPlaceByPlace(t *testing.T) {
	f := nursery(12, "linden", "north shed")
	f.rounds = farm.Rounds{At: f.view.At, Opening: "Four bins need you.", Care: []farm.Care{
		{Bin: "yard-006", Do: "first"}, {Bin: "linden-000", Room: "linden", Do: "a"}, {Bin: "linden-001", Room: "linden", Do: "b"}, {Bin: "yard-007", Do: "c"}, {Bin: "linden-002", Room: "linden", Do: "d"},
	}}
	body := get(newPage(t, f.config()), "/rounds").Body.String()
	var heads []string
	for _, part := range strings.Split(body, `class="place"`)[1:] {
		_, part, _ = strings.Cut(part, "<h2>")
		head, _, _ := strings.Cut(part, "</h2>")
		heads = append(heads, head)
	}
	if !slices.Equal(heads, []string{"Linden", "Elsewhere", "Linden"}) {
		t.Errorf("got %q", heads)
	}
}
