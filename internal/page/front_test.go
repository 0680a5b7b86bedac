package page_test

import (
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
)

var binHeading = regexp.MustCompile(`<h2><a href="/bins/([^"]+)">`)

// order gives the bins of the first page from top to bottom.
func order(body string) []string {
	var out []string
	for _, m := range binHeading.FindAllStringSubmatch(body, -1) {
		out = append(out, m[1])
	}
	return out
}

func wantAll(t *testing.T, body string, parts ...string) {
	t.Helper()
	for _, part := range parts {
		if !strings.Contains(body, part) {
			t.Errorf("the page does not say %q", part)
		}
	}
}

func wantNone(t *testing.T, body string, parts ...string) {
	t.Helper()
	for _, part := range parts {
		if strings.Contains(body, part) {
			t.Errorf("the page says %q", part)
		}
	}
}

func TestFrontPutsTheNeedyFirst(t *testing.T) {
	w := get(newPage(t, newFake().config()), "/")
	if w.Code != http.StatusOK {
		t.Fatalf("status %d", w.Code)
	}
	// bed now, crate and barrel today; trays are hushed and the trough is
	// known of, so they only just come before the cabinet, which wants nothing.
	want := []string{"bed", "crate", "barrel", "trays", "trough", "cabinet"}
	if d := cmp.Diff(want, order(w.Body.String())); d != "" {
		t.Errorf("bins (-want +got):\n%s", d)
	}
}

func TestFrontAnswersTheFourQuestions(t *testing.T) {
	body := get(newPage(t, newFake().config()), "/").Body.String()
	wantAll(t, body,
		"One thing needs you now, three today, three soon.",                      // what is wrong or due
		"Likely about 4 pm; four times in five between about 3 pm and",           // how long until it matters
		"About 3 litres of water would bring it to the middle of what suits it;", // what to do, in litres
		"disagrees with its twin",                                                // can I believe the probe
		"Red worms</b> slowed", "Blue worms</b> thriving",
		"No believed reading for 9 hours", "was comfortable", "last heard 9 hours ago",
		"kept quiet until tomorrow about 10 am", "you know of it",
		"judged again from 14:45 on", "lid off, not judged", "about half is left",
		"The database has refused readings", "and 2 more further down",
	)
}

func TestOpeningSentence(t *testing.T) {
	one := func(u farm.Urgency, how ...func(*farm.Standing)) farm.Standing {
		s := farm.Standing{Episode: "x", Bin: "bed", Zone: "near", Condition: farm.TooDry, Urgency: u, Since: noon}
		for _, h := range how {
			h(&s)
		}
		return s
	}
	seen := func(s *farm.Standing) { s.Seen = true }
	hushed := func(s *farm.Standing) { s.Hushed = ptr(ahead(time.Hour)) }
	over := func(s *farm.Standing) { s.Hushed = ptr(ago(time.Hour)) }
	tests := []struct {
		name     string
		standing []farm.Standing
		want     string
	}{
		{"nothing", nil, "Nothing is wrong and nothing is due."},
		{"one soon", []farm.Standing{one(farm.Soon)}, "One thing needs you soon."},
		{"two today", []farm.Standing{one(farm.Today), one(farm.Today), one(farm.Soon)}, "Two things need you today, one soon."},
		{"known of", []farm.Standing{one(farm.Now, seen)}, "Nothing new: all that is raised is known or kept quiet."},
		{"hushed", []farm.Standing{one(farm.Today, hushed)}, "Nothing new: all that is raised is known or kept quiet."},
		{"hush is over", []farm.Standing{one(farm.Today, over)}, "One thing needs you today."},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := newFake()
			f.view.Standing = tt.standing
			f.know()
			wantAll(t, get(newPage(t, f.config()), "/").Body.String(), "<h1>"+tt.want+"</h1>")
		})
	}
}

// know makes everything known.
func (f *fake) know() {
	for _, b := range f.view.Bins {
		for i := range b.Zones {
			b.Zones[i].Unjudged, b.Zones[i].Unknown, b.Zones[i].Waiting, b.Zones[i].LidOff = "", nil, nil, nil
		}
	}
}

// What is not known is never fine, and the first sight says what it is.
func TestBlindIsNotFine(t *testing.T) {
	for what, alter := range map[string]func(*farm.View){
		"Cabinet can&#39;t be judged: no fresh reading.": func(v *farm.View) { v.Bins[0].Zones[0].Unjudged = "no fresh reading" },
		"Cabinet can&#39;t be judged by its moisture: no reading has come yet.": func(v *farm.View) {
			v.Bins[0].Zones[0].Unknown = []farm.Unknown{{Quantity: farm.Moisture, Why: "no reading has come yet"}}
		},
		"Cabinet was opened and is judged again from 15:05 on.": func(v *farm.View) { v.Bins[0].Zones[0].LidOff = ptr(ahead(time.Hour)) },
		"Cabinet has been too dry for 10 minutes; it is raised at 14:25 if it stays so.": func(v *farm.View) {
			v.Bins[0].Zones[0].Waiting = []farm.Waiting{{Condition: farm.TooDry, Urgency: farm.Today, Since: ago(10 * time.Minute), RaisedAt: ahead(20 * time.Minute)}}
		},
		"The broker has not been heard since about 11 am.": func(v *farm.View) { v.Intake.Connected, v.Intake.Since = false, ago(3*time.Hour) },
	} {
		f := newFake()
		f.know()
		f.view.Standing = nil
		alter(&f.view)
		wantAll(t, get(newPage(t, f.config()), "/").Body.String(), "<h1>Nothing is raised, but not everything is known to be well.</h1>", what)
	}
}

func TestIntakeTroubleIsSaid(t *testing.T) {
	tests := []struct {
		name   string
		intake farm.IntakeView
		want   string
	}{
		{"daemon stopped", farm.IntakeView{}, "No daemon is running: this is what the journal says."},
		{"broker away", farm.IntakeView{Running: true, Since: ago(3 * time.Hour)}, "The broker has not been heard since about 11 am."},
		{"broker never", farm.IntakeView{Running: true}, "The broker has not been heard yet."},
		{"disk full", farm.IntakeView{Running: true, Connected: true, Unwritten: ptr(ago(2 * time.Hour))}, "Nothing is judged since about noon: the journal can&#39;t be written."},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := newFake()
			f.view.Intake = tt.intake
			wantAll(t, get(newPage(t, f.config()), "/").Body.String(), tt.want)
		})
	}
}

// Who can't be told anything is named on the first sight, and who can is not.
func TestUnreachedRecipientsAreSaid(t *testing.T) {
	f := newFake()
	f.view.Recipients = []farm.Recipient{
		{By: "mail", Place: 1, Address: "kim@example.org", Last: ago(time.Hour)},
		{By: "push", Place: 2, Trouble: "503 <b>Away</b>", Since: ago(3 * time.Hour)},
	}
	body := get(newPage(t, f.config()), "/").Body.String()
	wantAll(t, body, "Notices by push 2 have not arrived since about 11 am: 503 &lt;b&gt;Away&lt;/b&gt;.")
	if strings.Contains(body, "kim@example.org") {
		t.Error("a recipient without trouble is named")
	}
}

// How old the newest copy of the journal is stands on the page, or why there is none.
func TestCopiesAreSaid(t *testing.T) {
	f := newFake()
	if body := get(newPage(t, f.config()), "/").Body.String(); strings.Contains(body, "opy of the journal") {
		t.Error("copies are named where none are made")
	}
	for says, c := range map[string]farm.Copies{
		"Last copy of the journal 6 hours ago, checked.":                                    {Last: ago(6 * time.Hour), Kept: 14},
		"The journal has not been copied yet.":                                              {},
		"The journal is not copied: there is no folder /media/stick. Last copy 3 days ago.": {Last: ago(72 * time.Hour), Trouble: "there is no folder /media/stick"},
		"The journal is not copied: &lt;b&gt;.":                                             {Trouble: "<b>"},
	} {
		f.view.Copies = &c
		wantAll(t, get(newPage(t, f.config()), "/").Body.String(), says)
	}
}

func TestNothingJudgedYet(t *testing.T) {
	f := newFake()
	f.blind = true
	p := newPage(t, f.config())
	for _, path := range []string{"/", "/bins/bed", "/rounds", "/probes", "/api/now", "/api/rounds"} {
		w := get(p, path)
		if w.Code != http.StatusServiceUnavailable || w.Header().Get("Retry-After") == "" {
			t.Errorf("%s: status %d, Retry-After %q", path, w.Code, w.Header().Get("Retry-After"))
		}
		wantAll(t, w.Body.String(), "Nothing has been judged yet")
	}
}

// TestBrokenHistoryLeavesTheRest: what is known of now is shown though no
// curve can be read, and nothing of the error reaches the reader.
func TestBrokenHistoryLeavesTheRest(t *testing.T) {
	f := newFake()
	f.broken = errBroken
	p := newPage(t, f.config())
	for _, path := range []string{"/", "/bins/bed", "/probes/bed-t"} {
		w := get(p, path)
		if w.Code != http.StatusOK {
			t.Errorf("%s: status %d", path, w.Code)
		}
		wantAll(t, w.Body.String(), "Part of the history cannot be read just now", "30.6 °C")
		wantNone(t, w.Body.String(), "secret-path")
	}
	wantAll(t, f.log(), "disk I/O error")
	if w := get(p, "/api/history?zone=bed/near"); w.Code != http.StatusInternalServerError {
		t.Errorf("/api/history: status %d, want 500", w.Code)
	} else {
		wantNone(t, w.Body.String(), "secret-path")
	}
}

// TestNamesAreText: a farm whose every name is markup shows it as text on
// every page.
func TestNamesAreText(t *testing.T) {
	const evil = `"><script>alert(1)</script>&'`
	f := newFake()
	f.farm.Name = evil
	rename(f, "bed", evil)
	f.farm.Probes[0].ID, f.farm.Probes[0].Topic = evil, evil
	f.view.Probes[0].ID = evil
	f.view.Probes[0].Doubt, f.view.Probes[0].Flags = evil, []string{evil}
	f.view.Probes[0].Rejected = map[string]int64{evil: 1}
	f.view.Intake.Messages = map[string]int64{evil: 1}
	for i := range f.view.Standing {
		f.view.Standing[i].Text, f.view.Standing[i].Cautions, f.view.Standing[i].Episode = evil, []string{evil}, evil
	}
	for i := range f.rounds.Care {
		f.rounds.Care[i].Do, f.rounds.Care[i].Why, f.rounds.Care[i].Bin = evil, evil, evil
	}
	f.rounds.Opening, f.rounds.Bring = evil, []string{evil}
	f.farm.Species[0].Name, f.farm.Feeds[0].Kind = evil, evil
	p := newPage(t, f.config())
	at := "%22%3E%3Cscript%3Ealert%281%29%3C%2Fscript%3E&%27"
	query := "%22%3E%3Cscript%3Ealert%281%29%3C%2Fscript%3E%26%27"
	for _, path := range []string{
		"/", "/bins/" + at, "/rounds", "/probes", "/probes/" + at, "/jot", "/jot?bin=" + query, "/jot?bin=" + query + "&what=fed",
		"/hush?bin=" + query, "/nowhere/" + at, "/bins/cabinet", "/jot?bin=" + query + "x",
	} {
		w := get(p, path)
		wantNone(t, w.Body.String(), "<script>alert")
		if !strings.Contains(w.Body.String(), "script&gt;alert") && path != "/bins/cabinet" {
			t.Errorf("%s (status %d): the name is not shown at all", path, w.Code)
		}
	}
	if w := get(p, "/bins/"+at); w.Code != http.StatusOK {
		t.Errorf("a bin of that name cannot be visited: status %d", w.Code)
	}
}

// rename gives a bin another name wherever the farm and its view speak of it.
func rename(f *fake, from, to string) {
	for i := range f.farm.Bins {
		if f.farm.Bins[i].Name == from {
			f.farm.Bins[i].Name = to
		}
	}
	for i := range f.view.Bins {
		if b := &f.view.Bins[i]; b.Name == from {
			b.Name = to
			for j := range b.Zones {
				b.Zones[j].Bin = to
			}
		}
	}
	for i := range f.view.Standing {
		if f.view.Standing[i].Bin == from {
			f.view.Standing[i].Bin = to
		}
	}
}

func TestUSUnits(t *testing.T) {
	f := newFake()
	f.farm.Units, f.view.Units = farm.US, farm.US
	p := newPage(t, f.config())
	front := get(p, "/").Body.String()
	wantAll(t, front, "87 °F", "of water would bring it", "quart")
	wantNone(t, front, "30.6 °C</b>")
	wantAll(t, get(p, "/bins/bed").Body.String(), ` °F">`, "59 °F to 77 °F") // 15..25 °C
	wantAll(t, get(p, "/rounds").Body.String(), `value="2.1"`, "<option selected>gal</option>", "<option selected>lb</option>")
}

// TestSeveralProbesAreShownWithBothEnds: the middle alone would hide the end
// that is past survive.
func TestSeveralProbesAreShownWithBothEnds(t *testing.T) {
	f := newFake()
	z := &f.view.Bins[1].Zones[0]
	z.Level(farm.Temperature).Value = 28.9
	z.Level(farm.Temperature).Highest, z.Level(farm.Temperature).Lowest = &farm.ProbeLevel{Probe: "bed-t", Value: 37.8}, &farm.ProbeLevel{Probe: "bed-far-t", Value: 20}
	front := get(newPage(t, f.config()), "/").Body.String()
	wantAll(t, front, "<b>28.9 °C</b>", "hotter than they survive", "bed-t 37.8 °C, bed-far-t 20 °C")
}

// TestWormsAreShownWithTheirPart: who suffers and how many they are.
func TestWormsAreShownWithTheirPart(t *testing.T) {
	f := newFake()
	f.view.Bins[1].Zones[0].Species = []farm.SpeciesView{
		{ID: "red", Name: "red worms", Part: 0.95, Word: "slowed"},
		{ID: "blue", Name: "blue worms", Part: 0.05, Word: "thriving", Moisture: "too dry"},
	}
	front := get(newPage(t, f.config()), "/").Body.String()
	wantAll(t, front, "<b>red worms (95 %)</b> slowed", "<b>blue worms (5 %)</b> thriving, too dry for them")
}

// TestCurvesAreAskedForOnce: the journal is not asked again for a curve until
// its next step begins.
func TestCurvesAreAskedForOnce(t *testing.T) {
	f := newFake()
	p := newPage(t, f.config())
	get(p, "/")
	first := f.asked
	if first == 0 {
		t.Fatal("no curve was asked for")
	}
	get(p, "/")
	f.advance(50 * time.Minute) // 14:05 to 14:55: the same hour
	get(p, "/")
	if f.asked != first {
		t.Errorf("asked for %d curves, then %d more", first, f.asked-first)
	}
	f.advance(10 * time.Minute)
	get(p, "/")
	if f.asked != 2*first {
		t.Errorf("in the next hour %d curves in all, want %d", f.asked, 2*first)
	}
}

// TestFailedCurveIsAskedForAgain: a journal that has recovered is not held to
// its failure.
func TestFailedCurveIsAskedForAgain(t *testing.T) {
	f := newFake()
	f.broken = errBroken
	p := newPage(t, f.config())
	get(p, "/")
	f.broken = nil
	wantNone(t, get(p, "/").Body.String(), "Part of the history")
}
