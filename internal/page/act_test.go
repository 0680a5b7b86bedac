package page_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"binwatchd/internal/page"
)

// A letterPage is the locked page of a fake with a real journal behind its tokens, and one
// token for each of two people about the crate that is too dry.
func letterPage(t *testing.T) (*fake, *page.Page, *journal.Journal) {
	t.Helper()
	f := newFake()
	j, err := journal.Open(t.Context(), journal.Config{Path: filepath.Join(t.TempDir(), "journal.db"), Now: f.clock})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = j.Close() })
	for _, who := range []string{"ann", "ben"} {
		k := farm.Token{Hash: farm.HashToken("token-of-" + who), Who: who + "@example.org", Episodes: []string{"e3"}, Until: noon.Add(farm.TokenLife)}
		if err := j.KeepToken(context.Background(), k); err != nil {
			t.Fatal(err)
		}
	}
	cfg := f.config()
	cfg.Letters, cfg.Password = j, "compost heap"
	return f, newPage(t, cfg), j
}

func pressed(p http.Handler, who, do string, more ...string) *httptest.ResponseRecorder {
	form := url.Values{"t": {"token-of-" + who}, "do": {do}}
	for i := 0; i < len(more); i += 2 {
		form.Set(more[i], more[i+1])
	}
	return post(p, "/act", form)
}

// To look changes nothing, however often a scanner of mail does it; the press acts once,
// without a login, and for one condition alone.
func TestAButtonOfAMailActsOnPressAlone(t *testing.T) {
	for _, tt := range []struct {
		do    string
		shows string
		is    func(e farm.Event) bool
	}{
		{"done", `name="amount"`, func(e farm.Event) bool {
			return e.Kind == farm.EventJot && e.Jot == farm.Jot{At: noon, Bin: "crate", Zone: "all", What: farm.Watered, Litres: 1, By: "ann@example.org"}
		}},
		{"known", "I know", func(e farm.Event) bool { return e.Kind == farm.EventSeen && e.Seen.Episode == "e3" }},
		{"quiet", "Should it get worse", func(e farm.Event) bool {
			return e.Kind == farm.EventHush && e.Hush.Bin == "crate" && e.Hush.Condition == farm.TooDry && e.Hush.Until.Equal(noon.Add(48*time.Hour))
		}},
	} {
		t.Run(tt.do, func(t *testing.T) {
			f, p, _ := letterPage(t)
			for range 3 {
				w := get(p, "/act?do="+tt.do+"&t=token-of-ann")
				if w.Code != http.StatusOK || !strings.Contains(w.Body.String(), tt.shows) {
					t.Fatalf("got %d:\n%s", w.Code, f.log())
				}
				if w.Header().Get("Cache-Control") != "no-store" {
					t.Error("the page with a token may be kept")
				}
			}
			if got := f.done(); len(got) != 0 {
				t.Fatalf("looking did %+v", got)
			}
			more := []string{}
			if tt.do == "done" {
				more = []string{"amount", "1", "unit", "L"}
			}
			if w := pressed(p, "ann", tt.do, more...); w.Code != http.StatusOK {
				t.Fatalf("got %d: %s", w.Code, w.Body)
			}
			if got := f.done(); len(got) != 1 || !tt.is(got[0]) {
				t.Fatalf("did %+v", got)
			}
			f.change(func(f *fake) { // as the rules would have it
				until := noon.Add(48 * time.Hour)
				for i, s := range f.view.Standing {
					if s.Episode == "e3" && tt.do == "quiet" {
						f.view.Standing[i].Hushed = &until
					}
				}
			})
			if w := pressed(p, "ben", tt.do); !strings.Contains(w.Body.String(), "ann@example.org did that already") {
				t.Errorf("the second is told:\n%s", w.Body)
			}
			if w := get(p, "/act?do="+tt.do+"&t=token-of-ann"); !strings.Contains(w.Body.String(), "You did that already") || strings.Contains(w.Body.String(), "<form") {
				t.Errorf("the first, again, is told:\n%s", w.Body)
			}
			if got := f.done(); len(got) != 1 {
				t.Errorf("did %d things, want one", len(got))
			}
			if strings.Contains(f.log(), "token-of") {
				t.Errorf("a token is in the log:\n%s", f.log())
			}
		})
	}
}

// Who waters what is kept quiet has watered it: the same line is written as if it were not.
func TestWhatIsKeptQuietIsDoneAllTheSame(t *testing.T) {
	f, p, _ := letterPage(t)
	f.change(func(f *fake) {
		of := func(c farm.Care) bool { return c.Episode == "e3" }
		i := slices.IndexFunc(f.rounds.Care, of)
		f.rounds.Quiet, f.rounds.Care = []farm.Care{f.rounds.Care[i]}, slices.DeleteFunc(slices.Clone(f.rounds.Care), of)
	})
	wantAll(t, get(p, "/act?do=done&t=token-of-ann").Body.String(), `name="amount"`)
	if w := pressed(p, "ann", "done", "amount", "1.5", "unit", "L"); w.Code != http.StatusOK {
		t.Fatalf("got %d: %s", w.Code, w.Body)
	}
	want := farm.Jot{At: noon, Bin: "crate", Zone: "all", What: farm.Watered, Litres: 1.5, By: "ann@example.org"}
	if got := f.done(); len(got) != 1 || got[0].Jot != want {
		t.Errorf("wrote %+v, want %+v", got, want)
	}
}

// Two who press at the same moment do it once.
func TestTwoPressAtOnce(t *testing.T) {
	f, p, _ := letterPage(t)
	var wg sync.WaitGroup
	for _, who := range []string{"ann", "ben", "ann", "ben"} {
		wg.Go(func() { pressed(p, who, "done", "amount", "1") })
	}
	wg.Wait()
	if got := f.done(); len(got) != 1 {
		t.Errorf("did %+v, want it once", got)
	}
}

// A token works for a week and for its own page alone; one that is made up never does.
func TestATokenIsForAWeekAndItsPage(t *testing.T) {
	f, p, _ := letterPage(t)
	for _, target := range []string{"/act?do=done", "/act?do=done&t=token-of-cid", "/act?do=burn&t=token-of-ann", "/act?t=token-of-ann"} {
		if w := get(p, target); w.Code < 400 {
			t.Errorf("%s: %d", target, w.Code)
		}
	}
	for _, target := range []string{"/rounds?t=token-of-ann", "/api/now?t=token-of-ann"} {
		if w := get(p, target); w.Code == http.StatusOK {
			t.Errorf("%s is shown to a token", target)
		}
	}
	f.advance(farm.TokenLife + time.Second)
	if w := pressed(p, "ann", "known"); w.Code != http.StatusNotFound {
		t.Errorf("after a week: %d", w.Code)
	}
	if got := f.done(); len(got) != 0 {
		t.Errorf("did %+v", got)
	}
}

// What can't be written is not noted as done, and may be pressed again. What is over is
// said to be, and an amount that no bin takes is refused.
func TestWhatComesBetweenMailAndPress(t *testing.T) {
	f, p, _ := letterPage(t)
	f.change(func(f *fake) { f.refuse = errBroken })
	if w := pressed(p, "ann", "done", "amount", "1"); w.Code != http.StatusServiceUnavailable {
		t.Errorf("got %d", w.Code)
	}
	f.change(func(f *fake) { f.refuse = nil })
	if w := pressed(p, "ann", "done", "amount", "9000"); w.Code != http.StatusBadRequest || len(f.done()) != 0 {
		t.Errorf("9000 L: %d, %+v", w.Code, f.done())
	}
	if w := pressed(p, "ben", "done", "amount", "1"); !strings.Contains(w.Body.String(), "Written: Crate watered about 1 litre") {
		t.Errorf("got:\n%s", w.Body)
	}
	f.change(func(f *fake) { f.view.Standing = nil })
	if w := pressed(p, "ann", "known"); !strings.Contains(w.Body.String(), "That is over") || len(f.done()) != 1 {
		t.Errorf("got:\n%s", w.Body)
	}
}

// Once a quiet time is over, the button gives another.
func TestQuietAgain(t *testing.T) {
	f, p, _ := letterPage(t)
	pressed(p, "ann", "quiet")
	f.advance(50 * time.Hour) // the fake never hushes, so the hush is over
	if w := pressed(p, "ann", "quiet"); !strings.Contains(w.Body.String(), "Quiet about") || len(f.done()) != 2 {
		t.Errorf("got:\n%s", w.Body)
	}
}

// The button of a mail that names several is about all that are still raised.
func TestAButtonIsAboutAllThatItsMailNamed(t *testing.T) {
	f, p, j := letterPage(t)
	episodes := []string{"gone"}
	for _, st := range f.view.Standing {
		if st.Bin != "" {
			episodes = append(episodes, st.Episode)
		}
	}
	n := len(episodes) - 1
	k := farm.Token{Hash: farm.HashToken("token-of-cleo"), Who: "cleo@example.org", Episodes: episodes, Until: noon.Add(farm.TokenLife)}
	if err := j.KeepToken(context.Background(), k); err != nil || n < 2 {
		t.Fatal(err, episodes)
	}
	pressed(p, "ann", "known") // of e3 alone
	if w := pressed(p, "cleo", "known"); w.Code != http.StatusOK {
		t.Fatalf("got %d: %s", w.Code, w.Body)
	}
	seen := map[string]int{}
	for _, e := range f.done() {
		seen[e.Seen.Episode]++
	}
	for _, e := range episodes[1:] {
		if seen[e] != 1 {
			t.Errorf("%s was seen %d times, want once", e, seen[e])
		}
	}
	if w := pressed(p, "cleo", "known"); len(f.done()) != n || !strings.Contains(w.Body.String(), "did that already") {
		t.Errorf("the second press did %d things in all, want %d:\n%s", len(f.done()), n, w.Body)
	}
}
