package page_test

import (
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
)

// form makes a form of pairs.
func form(pairs ...string) url.Values {
	v := url.Values{}
	for i := 0; i < len(pairs); i += 2 {
		v.Set(pairs[i], pairs[i+1])
	}
	return v
}

// said follows a redirect and gives the sentence left for the next page.
func said(t *testing.T, h http.Handler, w *httptest.ResponseRecorder) string {
	t.Helper()
	if w.Code != http.StatusSeeOther {
		t.Fatalf("status %d, want 303: %s", w.Code, w.Body)
	}
	r := request(http.MethodGet, w.Header().Get("Location"), nil)
	for _, c := range w.Result().Cookies() {
		r.AddCookie(c)
	}
	body := serve(h, r).Body.String()
	_, rest, ok := strings.Cut(body, `<p class="said" role="status">`)
	if !ok {
		t.Fatalf("the page after says nothing")
	}
	sentence, _, _ := strings.Cut(rest, "</p>")
	return sentence
}

func TestJot(t *testing.T) {
	const kgPerPound, litresPerGallon = 0.45359237, 3.785411784 // NIST Handbook 44, 2024, Appendix C
	tests := []struct {
		name  string
		units farm.Units
		form  url.Values
		want  farm.Jot
		said  string
	}{
		{"watered", farm.Metric, form("bin", "bed", "zone", "near", "what", "watered", "amount", "2", "unit", "L"),
			farm.Jot{At: noon, Bin: "bed", Zone: "near", What: farm.Watered, Litres: 2}, "Written: Bed, near watered about 2 litres."},
		{"by the name of a notice", farm.Metric, form("bin", "Bed, Near", "what", "watered", "amount", "2", "unit", "L"),
			farm.Jot{At: noon, Bin: "bed", Zone: "near", What: farm.Watered, Litres: 2}, "Written: Bed, near watered about 2 litres."},
		{"in capitals, to a tub", farm.Metric, form("bin", "BED", "zone", "FAR", "what", "sifted", "amount", "8", "unit", "L", "to", "Crate"),
			farm.Jot{At: noon, Bin: "bed", Zone: "far", What: farm.Sifted, Litres: 8, To: "crate"}, ""},
		{"its usual unit", farm.Metric, form("bin", "bed", "what", "fed", "amount", "1.5", "of", "grain"),
			farm.Jot{At: noon, Bin: "bed", What: farm.Fed, Kg: 1.5, Of: "grain"}, "Written: Bed fed about 1½ kg of grain."},
		{"grams", farm.Metric, form("bin", "bed", "zone", "near", "what", "fed", "amount", "300", "unit", "g"),
			farm.Jot{At: noon, Bin: "bed", Zone: "near", What: farm.Fed, Kg: 0.3}, ""},
		{"the unit typed", farm.Metric, form("bin", "bed", "zone", "near", "what", "watered", "amount", "500 ml", "unit", "L"),
			farm.Jot{At: noon, Bin: "bed", Zone: "near", What: farm.Watered, Litres: 0.5}, ""},
		{"decimal comma", farm.Metric, form("bin", "trays", "zone", "all", "what", "watered", "amount", "1,5"),
			farm.Jot{At: noon, Bin: "trays", Zone: "all", What: farm.Watered, Litres: 1.5}, "Written: Trays watered about 1½ litres."},
		{"pounds", farm.US, form("bin", "bed", "zone", "near", "what", "fed", "amount", "2"),
			farm.Jot{At: noon, Bin: "bed", Zone: "near", What: farm.Fed, Kg: 2 * kgPerPound}, "Written: Bed, near fed about 2 lb."},
		{"gallons", farm.US, form("bin", "bed", "zone", "near", "what", "watered", "amount", "1"),
			farm.Jot{At: noon, Bin: "bed", Zone: "near", What: farm.Watered, Litres: litresPerGallon}, "Written: Bed, near watered about 1 gallon."},
		{"to a tub", farm.Metric, form("bin", "bed", "zone", "far", "what", "sifted", "amount", "8", "unit", "L", "to", "crate"),
			farm.Jot{At: noon, Bin: "bed", Zone: "far", What: farm.Sifted, Litres: 8, To: "crate"}, "Written: Bed, far sifted about 8 litres to crate."},
		{"without an amount", farm.Metric, form("bin", "bed", "zone", "near", "what", "turned"),
			farm.Jot{At: noon, Bin: "bed", Zone: "near", What: farm.Turned}, "Written: Bed, near turned."},
		{"worms", farm.Metric, form("bin", "bed", "what", "stocked", "amount", "1", "of", "blue"),
			farm.Jot{At: noon, Bin: "bed", What: farm.Stocked, Kg: 1, Of: "blue"}, ""},
		{"earlier, in the farm's time", farm.Metric, form("bin", "bed", "what", "turned", "at", "2027-07-09T08:30"),
			farm.Jot{At: time.Date(2027, 7, 9, 7, 30, 0, 0, time.UTC), Bin: "bed", What: farm.Turned}, ""},
		{"earlier, in RFC 3339", farm.Metric, form("bin", "bed", "what", "turned", "at", "2027-07-09T08:30:00Z"),
			farm.Jot{At: time.Date(2027, 7, 9, 8, 30, 0, 0, time.UTC), Bin: "bed", What: farm.Turned}, ""},
		{"markup as a word", farm.Metric, form("bin", "bed", "what", "fed", "of", "<b>mash</b>"),
			farm.Jot{At: noon, Bin: "bed", What: farm.Fed, Of: "<b>mash</b>"}, "Written: Bed fed &lt;b&gt;mash&lt;/b&gt;."},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := newFake()
			f.farm.Units = tt.units
			p := newPage(t, f.config())
			w := post(p, "/jot", tt.form)
			if s := said(t, p, w); tt.said != "" && s != tt.said {
				t.Errorf("said %q, want %q", s, tt.said)
			}
			tt.want.By = "page"
			want := []farm.Event{{Kind: farm.EventJot, Arrived: noon, Jot: tt.want}}
			if d := cmp.Diff(want, f.done()); d != "" {
				t.Errorf("events (-want +got):\n%s", d)
			}
		})
	}
}

func TestBadFormsAreRefusedWithASentence(t *testing.T) {
	jot := func(pairs ...string) url.Values {
		v := form("bin", "bed", "zone", "near", "what", "watered", "amount", "1", "unit", "L")
		for i := 0; i < len(pairs); i += 2 {
			v.Set(pairs[i], pairs[i+1])
		}
		return v
	}
	hush := func(pairs ...string) url.Values {
		return form(append([]string{"bin", "bed", "zone", "near", "condition", "too-dry", "for", "2h"}, pairs...)...)
	}
	tests := []struct {
		name, path string
		form       url.Values
		status     int
		says       string
	}{
		{"no bin", "/jot", form("what", "fed"), 404, "no bin"},
		{"other bin", "/jot", jot("bin", "shed"), 404, "no bin &#34;shed&#34;"},
		{"other zone", "/jot", jot("zone", "middle"), 404, "no zone"},
		{"no kind", "/jot", jot("what", ""), 400, "nothing the diary knows"},
		{"other kind", "/jot", jot("what", "eaten"), 400, "nothing the diary knows"},
		{"no number", "/jot", jot("amount", "some"), 400, "amount is not clear"},
		{"negative", "/jot", jot("amount", "-2"), 400, "amount is not clear"},
		{"nothing", "/jot", jot("amount", "0"), 400, "amount is not clear"},
		{"not finite", "/jot", jot("amount", "Inf"), 400, "amount is not clear"},
		{"huge", "/jot", jot("amount", "1e300"), 400, "amount"},
		{"more than a bin", "/jot", jot("amount", "3000"), 400, "more than any bin holds"},
		{"other unit", "/jot", jot("unit", "furlong"), 400, "amount is not clear"},
		{"water by weight", "/jot", jot("unit", "kg"), 400, "litres or gallons"},
		{"other species", "/jot", jot("what", "stocked", "unit", "kg", "of", "night"), 400, "no species"},
		{"other tub", "/jot", jot("what", "sifted", "to", "cabinet"), 400, "no bin that keeps castings"},
		{"water to a tub", "/jot", jot("to", "crate"), 400, "Only what is sifted"},
		{"long word", "/jot", jot("of", strings.Repeat("ä", 41)), 400, "40 letters"},
		{"long field", "/jot", jot("of", strings.Repeat("a", 201)), 400, "longer than 200 bytes"},
		{"line break", "/jot", jot("of", "a\nb"), 400, "no text"},
		{"not UTF-8", "/jot", jot("of", "\xff\xfe"), 400, "no text"},
		{"to come", "/jot", jot("at", "2027-07-09T18:00"), 400, "still to come"},
		{"long ago", "/jot", jot("at", "2027-01-09T18:00"), 400, "30 days back"},
		{"no time", "/jot", jot("at", "yesterday"), 400, "no time I can read"},
		{"hush without end", "/hush", hush("for", "9999d"), 400, "a minute to 30 days"},
		{"hush of no time", "/hush", hush("for", "0s"), 400, "a minute to 30 days"},
		{"hush for what", "/hush", hush("for", "a while"), 400, "How long is not clear"},
		{"hush of no bin", "/hush", hush("bin", "shed"), 404, "no bin"},
		{"hush of no quantity", "/hush", hush("quantity", "boredom"), 400, "no quantity"},
		{"hush of no condition", "/hush", hush("condition", "bored"), 400, "no condition"},
		{"seen of nothing", "/seen", form(), 404, "may be over already"},
		{"seen of what is over", "/seen", form("id", "e999"), 404, "may be over already"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := newFake()
			w := post(newPage(t, f.config()), tt.path, tt.form)
			if w.Code != tt.status {
				t.Errorf("status %d, want %d", w.Code, tt.status)
			}
			wantAll(t, w.Body.String(), tt.says)
			if n := len(f.done()); n != 0 {
				t.Errorf("%d events were written", n)
			}
		})
	}
}

func TestHush(t *testing.T) {
	f := newFake()
	p := newPage(t, f.config())
	wantAll(t, get(p, "/hush?bin=crate&zone=all&condition=too-dry").Body.String(), "Crate: keep quiet about “too dry”", `value="12h"`)
	w := post(p, "/hush", form("bin", "crate", "zone", "all", "condition", "too-dry", "for", "12h"))
	if s := said(t, p, w); s != "Quiet about Crate for 12 hours." {
		t.Errorf("said %q", s)
	}
	want := farm.Hush{Bin: "crate", Zone: "all", Condition: farm.TooDry, Until: ahead(12 * time.Hour), By: farm.ByPage}
	if d := cmp.Diff([]farm.Event{{Kind: farm.EventHush, Arrived: noon, Hush: want}}, f.done()); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
}

// One of several quantities past their limits is kept quiet by itself.
func TestHushOfAQuantity(t *testing.T) {
	f := newFake()
	p := newPage(t, f.config())
	wantAll(t, get(p, "/hush?bin=crate&zone=all&condition=past-limit&quantity=weight").Body.String(),
		"Crate: keep quiet about “weight past its limit”", `name="quantity" value="weight"`)
	w := post(p, "/hush", form("bin", "crate", "zone", "all", "condition", "past-limit", "quantity", "weight", "for", "12h"))
	said(t, p, w)
	want := farm.Hush{Bin: "crate", Zone: "all", Condition: farm.PastLimit, Quantity: farm.Weight, Until: ahead(12 * time.Hour), By: farm.ByPage}
	if d := cmp.Diff([]farm.Event{{Kind: farm.EventHush, Arrived: noon, Hush: want}}, f.done()); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
}

func TestSeen(t *testing.T) {
	f := newFake()
	p := newPage(t, f.config())
	w := post(p, "/seen", form("id", "e3", "back", "/rounds"))
	if loc := w.Header().Get("Location"); loc != "/rounds" {
		t.Errorf("led to %q, want /rounds", loc)
	}
	if s := said(t, p, w); s != "Noted that you know: too dry." {
		t.Errorf("said %q", s)
	}
	if d := cmp.Diff([]farm.Event{{Kind: farm.EventSeen, Arrived: noon, Seen: farm.Seen{Episode: "e3", By: farm.ByPage}}}, f.done()); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
}

// TestDoubleTap: the same form sent twice writes one line.
func TestDoubleTap(t *testing.T) {
	f := newFake()
	p := newPage(t, f.config())
	v := form("bin", "crate", "what", "watered", "amount", "1", "once", "abc")
	post(p, "/jot", v)
	if s := said(t, p, post(p, "/jot", v)); !strings.Contains(s, "nothing was written twice") {
		t.Errorf("said %q", s)
	}
	if n := len(f.done()); n != 1 {
		t.Errorf("%d lines were written, want 1", n)
	}
}

// A form that waited on a phone says how long, not when: its clock may be wrong. Where that
// can't be, the line has the time of its arrival, and is marked as older.
func TestALineThatWaitedOnAPhone(t *testing.T) {
	listed := noon.Add(-4 * 24 * time.Hour).Format(time.RFC3339)
	for _, tt := range []struct {
		name, ago, listed string
		at                time.Time
		uncertain         bool
	}{
		{"not at all", "", listed, noon, false},
		{"some seconds", "12.7", listed, noon.Add(-13 * time.Second), false},
		{"three days", "259200", listed, noon.Add(-72 * time.Hour), false},
		{"three days, on no list", "259200", "", noon.Add(-72 * time.Hour), false},
		{"before the list was made: the clock was put on", "864000", listed, noon, true},
		{"its clock was put back", "-3600", listed, noon, true},
		{"fifty-six years: its clock had not been set", "1783602300", "", noon, true},
		{"no number", "yesterday", listed, noon, true},
		{"none of its numbers", "NaN", listed, noon, true},
	} {
		for what, v := range map[string]url.Values{
			"ticked":   form("bin", "crate", "zone", "all", "what", "watered", "amount", "1"),
			"in words": form("text", "crate watered 1 L"),
		} {
			t.Run(tt.name+", "+what, func(t *testing.T) {
				f := newFake()
				p := newPage(t, f.config())
				v.Set("ago", tt.ago)
				v.Set("listed", tt.listed)
				said(t, p, post(p, "/jot", v))
				if got := f.done(); len(got) != 1 || !got[0].Jot.At.Equal(tt.at) || got[0].Jot.Uncertain != tt.uncertain {
					t.Errorf("got %+v, want it at %v, uncertain: %v", got, tt.at, tt.uncertain)
				}
			})
		}
	}
	f := newFake()
	p := newPage(t, f.config())
	said(t, p, post(p, "/jot", form("text", "crate watered 1 L yesterday 5pm", "ago", "259200")))
	if got, want := f.done()[0].Jot.At, time.Date(2027, 7, 5, 17, 0, 0, 0, f.farm.Location); !got.Equal(want) {
		t.Errorf("yesterday, written three days ago, is %v, want %v", got, want)
	}
	said(t, p, post(p, "/jot", form("bin", "crate", "what", "turned", "at", "2027-07-09T08:30", "ago", "-5")))
	if got := f.done()[1].Jot; got.Uncertain || !got.At.Equal(time.Date(2027, 7, 9, 7, 30, 0, 0, time.UTC)) {
		t.Errorf("a time that was typed became %v, uncertain: %v", got.At, got.Uncertain)
	}
}

// The line of a list that somebody else has ticked since is asked about, and written on demand.
func TestAnothersTickIsMetOnce(t *testing.T) {
	f := newFake()
	p := newPage(t, f.config())
	body := get(p, "/rounds").Body.String()
	wantAll(t, body, `name="since" value="1"`)
	tick := func(pairs ...string) url.Values {
		return form(append([]string{"bin", "crate", "zone", "all", "what", "watered", "amount", "1", "since", "1", "back", "/rounds"}, pairs...)...)
	}
	said(t, p, post(p, "/jot", tick("once", "a", "by", "Ann")))
	w := post(p, "/jot", tick("once", "b", "by", "Bo"))
	if w.Code != http.StatusConflict || len(f.done()) != 1 {
		t.Fatalf("status %d, %d lines; want 409 and one", w.Code, len(f.done()))
	}
	wantAll(t, w.Body.String(), "Ann did that already, about 2 pm: Crate watered about 1 litre.", "Yours is not written", `name="once" value="b"`, `name="by" value="Bo"`)
	wantNone(t, w.Body.String(), `name="since"`)
	again := tick("once", "b", "by", "Bo")
	again.Del("since")
	said(t, p, post(p, "/jot", again))
	if got := f.done(); len(got) != 2 || got[1].Jot.By != "Bo" {
		t.Errorf("got %+v, want the second too", got)
	}
	said(t, p, post(p, "/jot", form("bin", "crate", "zone", "all", "what", "turned", "since", "1"))) // another act
	wantAll(t, post(p, "/jot", tick("once", "c", "since", "9")).Header().Get("Location"), "/rounds") // of a newer list
}

// A program, such as the worker of the page, is answered with a sentence and no page.
func TestAWriteIsAnsweredToAProgram(t *testing.T) {
	f := newFake()
	p := newPage(t, f.config())
	for _, tt := range []struct {
		form   url.Values
		status int
		says   string
	}{
		{form("bin", "crate", "what", "turned", "once", "a", "by", "Ann"), 200, `"said": "Written: Crate turned."`},
		{form("bin", "crate", "what", "turned", "once", "a"), 200, "nothing was written twice"},
		{form("bin", "crate", "what", "turned", "since", "1"), 409, `"error": "Ann did that already`},
		{form("bin", "cellar", "what", "turned"), 404, `"error": "This farm has no bin`},
		{form("text", "crate watered lots"), 422, `"error": `},
	} {
		r := request(http.MethodPost, "/jot", tt.form)
		r.Header.Set("Accept", "application/json")
		w := serve(p, r)
		if w.Code != tt.status || w.Header().Get("Content-Type") != "application/json" || !strings.Contains(w.Body.String(), tt.says) {
			t.Errorf("%v: got %d %s, want %d with %q", tt.form, w.Code, w.Body, tt.status, tt.says)
		}
	}
}

// TestWriteThatFails: the keeper is told, nothing inward is shown, and the very
// same form may be sent again.
func TestWriteThatFails(t *testing.T) {
	f := newFake()
	f.refuse = errors.New("open /var/lib/secret-path: no space left on device")
	p := newPage(t, f.config())
	v := form("bin", "crate", "what", "watered", "amount", "1", "once", "abc")
	w := post(p, "/jot", v)
	if w.Code != http.StatusServiceUnavailable {
		t.Errorf("status %d, want 503", w.Code)
	}
	wantAll(t, w.Body.String(), "nothing was noted")
	wantNone(t, w.Body.String(), "secret-path")
	f.refuse = nil
	if s := said(t, p, post(p, "/jot", v)); !strings.HasPrefix(s, "Written: Crate watered") {
		t.Errorf("sent again: %q", s)
	}
}

// TestTheSentenceIsSaidOnce and never believed when it is not ours to show as
// markup.
func TestTheSentenceIsSaidOnce(t *testing.T) {
	p := newPage(t, newFake().config())
	r := request(http.MethodGet, "/rounds", nil)
	r.AddCookie(&http.Cookie{Name: "binwatch_said", Value: "PHNjcmlwdD5oaTwvc2NyaXB0Pg"}) // <script>hi</script>
	w := serve(p, r)
	wantAll(t, w.Body.String(), "&lt;script&gt;hi")
	if c := w.Result().Cookies(); len(c) != 1 || c[0].MaxAge >= 0 {
		t.Errorf("the sentence is not taken back: %v", c)
	}
	for _, junk := range []string{"!!!", strings.Repeat("a", 3000)} {
		r.Header.Set("Cookie", "binwatch_said="+junk)
		if w := serve(p, r); w.Code != http.StatusOK {
			t.Errorf("with a junk cookie: status %d", w.Code)
		}
	}
}

func TestJotStepByStep(t *testing.T) {
	p := newPage(t, newFake().config())
	wantAll(t, get(p, "/jot").Body.String(), "Where?", `href="/jot?bin=bed&amp;zone=near"`, "Cabinet")
	wantAll(t, get(p, "/jot?bin=bed&zone=near").Body.String(), "Bed, near: what was done?", `what=watered`)
	wantAll(t, get(p, "/jot?bin=bed&zone=near&what=fed").Body.String(), "Bed, near: fed", `<option value="grain">`, `<option value="&lt;b&gt;mash&lt;/b&gt;">`)
	wantAll(t, get(p, "/jot?bin=bed&zone=far&what=sifted").Body.String(), "<option>crate</option>", "<option>barrel</option>")
	wantAll(t, get(p, "/jot?bin=bed&what=stocked").Body.String(), "<option>african</option>", `max="2027-07-09T14:05"`)
	wantNone(t, get(p, "/jot?bin=bed&what=turned").Body.String(), "How much")
	wantNone(t, get(p, "/jot?bin=crate&what=sifted").Body.String(), "<option>crate</option>") // not into itself
	for path, status := range map[string]int{"/jot?bin=shed": 404, "/jot?bin=bed&zone=top": 404, "/jot?bin=bed&what=eaten": 400, "/jot?bin=bed&bin=crate": 400, "/jot?bin=%ff": 400, "/jot?%": 400} {
		if w := get(p, path); w.Code != status {
			t.Errorf("%s: status %d, want %d", path, w.Code, status)
		}
	}
}

// Words are understood as by the command; what is not is asked about, with the words
// still in the field, and kept as a note on demand.
func TestJotInWords(t *testing.T) {
	f := newFake()
	p := newPage(t, f.config())
	w := post(p, "/jot", form("text", "fed bed near 1 kg grain\nand waterd half a litre yesterday 5pm"))
	if s := said(t, p, w); !strings.HasPrefix(s, "Written: Bed, near fed 1 kg of grain") || !strings.Contains(s, "Taken: waterd for watered") {
		t.Errorf("said %q", s)
	}
	at := time.Date(2027, 7, 8, 17, 0, 0, 0, f.farm.Location)
	want := []farm.Event{
		{Kind: farm.EventJot, Arrived: noon, Jot: farm.Jot{At: at.UTC(), Bin: "bed", Zone: "near", What: farm.Fed, Kg: 1, Of: "grain", By: "page"}},
		{Kind: farm.EventJot, Arrived: noon, Jot: farm.Jot{At: at.UTC(), Bin: "bed", Zone: "near", What: farm.Watered, Litres: 0.5, By: "page"}},
	}
	if d := cmp.Diff(want, f.done()); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}

	f = newFake()
	p = newPage(t, f.config())
	const unclear = "watered bed 1 L <gladly>"
	w = post(p, "/jot", form("text", unclear))
	if w.Code != http.StatusUnprocessableEntity || len(f.done()) > 0 {
		t.Errorf("status %d, did %v; want 422 and nothing done", w.Code, f.done())
	}
	wantAll(t, w.Body.String(), "watered bed 1 L &lt;gladly&gt;", "is not understood", "Nothing was written yet", "Bed watered 1 L", "Keep it as a note")
	said(t, p, post(p, "/jot", form("text", unclear, "as", "note", "bin", "bed", "zone", "near")))
	if got := f.done(); len(got) != 1 || got[0].Jot.What != farm.Noted || got[0].Jot.Words != unclear || got[0].Jot.Bin != "bed" {
		t.Errorf("got %+v, want the note", got)
	}
	wantAll(t, get(p, "/jot?bin=bed&zone=near").Body.String(), "smells sour", "In your own words", `what=feels&#43;dry`)
	wantAll(t, get(p, "/jot?bin=bed&zone=near&what=rodents").Body.String(), "can carry disease")
	said(t, p, post(p, "/jot", form("bin", "bed", "zone", "near", "what", "smells sour")))
	said(t, p, post(p, "/jot", form("bin", "bed", "what", "noted", "words", "lid open")))
	if got := f.done(); len(got) != 3 || got[1].Jot.What != "smells sour" || got[2].Jot.Words != "lid open" {
		t.Errorf("got %+v, want what was seen and noted", got)
	}
}

// A line of the diary is struck, or another is put in its place at its time.
func TestALineIsCorrected(t *testing.T) {
	f := newFake()
	p := newPage(t, f.config())
	diary := get(p, "/bins/bed").Body.String()
	wantAll(t, diary, `<a href="/jot/17">Correct</a>`, `<del>Fed about 20 kg of grain, near.</del> <small>by Bo</small> <small>struck by Ann, `)
	wantNone(t, diary, `href="/jot/16"`)
	wantAll(t, get(p, "/jot/17").Body.String(), "bed/near watered 2 L</textarea>", "Strike it")
	for _, none := range []string{"/jot/18", "/jot/x", "/jot/-1"} {
		if w := get(p, none); w.Code != http.StatusNotFound {
			t.Errorf("%s: status %d, want 404", none, w.Code)
		}
	}
	if s := said(t, p, post(p, "/jot", form("line", "17", "as", "struck"))); !strings.Contains(s, "Struck: Bed, near watered 2 L") {
		t.Errorf("said %q", s)
	}
	said(t, p, post(p, "/jot", form("line", "17", "text", "bed/near watered 3 L")))
	strike := farm.Event{Kind: farm.EventStrike, Arrived: noon, Strike: farm.Strike{Line: 17, By: "page"}}
	want := []farm.Event{strike, strike, {Kind: farm.EventJot, Arrived: noon, Jot: farm.Jot{At: ago(40 * time.Hour), Bin: "bed", Zone: "near", What: farm.Watered, Litres: 3, By: "page"}}}
	if d := cmp.Diff(want, f.done()); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
	if w := post(p, "/jot", form("line", "17", "text", "bed/near watered lots")); w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), `name="line" value="17"`) {
		t.Errorf("status %d, want 422 with the line kept", w.Code)
	}
}
