package page_test

import (
	"fmt"
	"maps"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"binwatchd/internal/farm"
	"binwatchd/internal/proctest"
)

// TestJotOnThePhone goes the keeper's way on a 360 px phone, by thumb, from the
// first sight to a line in the logbook, and sees the forecast change. It goes
// it once with scripts and once without.
func TestJotOnThePhone(t *testing.T) {
	chrome := startChromium(t)
	for name, scripts := range map[string]bool{"with scripts": true, "without scripts": false} {
		t.Run(name, func(t *testing.T) {
			f := newFake()
			b := open(t, chrome, server(t, newPage(t, f.config())), phone)
			if !scripts {
				b.withoutScripts(t)
			}
			b.visit(t, "/")
			if s := b.text(t, "main"); !strings.Contains(s, "Trays will be below 70 %") && !strings.Contains(s, "drying out") {
				t.Errorf("the first sight does not tell of the trays")
			}
			b.press(t, `#z-trays\.all a.button[href*="/jot"]`)
			b.press(t, `a[href*="what=watered"]`)
			b.do(t, chromedp.SendKeys(chromedp.CSS("#amount"), "1.2"))
			b.press(t, "main form button.done")

			want := farm.Jot{At: noon, Bin: "trays", Zone: "all", What: farm.Watered, Litres: 1.2, By: "page"}
			if got := f.done(); len(got) != 1 || got[0].Jot != want {
				t.Fatalf("written: %+v, want %+v", got, want)
			}
			if at, s := b.path(t), b.text(t, ".said"); at != "/bins/trays" || s != "Written: Trays watered about 1¼ litres." {
				t.Errorf("at %s it says %q", at, s)
			}
			f.change(func(f *fake) { f.view.Standing = f.view.Standing[:5] }) // the rules ease what was raised
			b.visit(t, "/")
			if s := b.text(t, `#z-trays\.all`); strings.Contains(s, "70 %") || !strings.Contains(s, "78 %") {
				t.Errorf("the trays' forecast stands as before: %s", s)
			}
			b.quiet(t)
		})
	}
}

func TestTickOnTheRounds(t *testing.T) {
	f := newFake()
	b := open(t, startChromium(t), server(t, newPage(t, f.config())), phone)
	b.visit(t, "/rounds")
	const line = `#z-crate\.all\.too-dry `
	b.do(t, chromedp.SendKeys(chromedp.CSS(line+`[name=amount]`), kb.End+kb.Backspace+"0.8"))
	b.press(t, line+"button.done")
	want := farm.Jot{At: noon, Bin: "crate", Zone: "all", What: farm.Watered, Litres: 0.8, By: "page"}
	if got := f.done(); len(got) != 1 || got[0].Jot != want {
		t.Fatalf("written: %+v, want %+v; at %s: %s", got, want, b.path(t), b.text(t, "main"))
	}
	if at := b.path(t); at != "/rounds" {
		t.Errorf("led to %s", at)
	}
	b.quiet(t)
}

func TestLoginInTheBrowser(t *testing.T) {
	_, p := lockedPage(t)
	b := open(t, startChromium(t), server(t, p), phone)
	b.visit(t, "/rounds")
	if at := b.path(t); at != "/login?next=%2Frounds" {
		t.Fatalf("at %s", at)
	}
	b.do(t, chromedp.SendKeys(chromedp.CSS("#password"), password))
	b.press(t, "main form button")
	if at := b.path(t); at != "/rounds" {
		t.Errorf("after the login at %s", at)
	}
	if v := eval[string](t, b, "document.cookie"); v != "" {
		t.Errorf("a script can read the cookie: %q", v)
	}
	b.press(t, "form.leave button")
	if at := b.path(t); at != "/login" {
		t.Errorf("after leaving at %s", at)
	}
	b.visit(t, "/")
	if at := b.path(t); at != "/login?next=%2F" {
		t.Errorf("the door stands open after leaving: %s", at)
	}
	b.quiet(t)
}

// TestLooksAgainByItself: what changed comes onto an open page, and nothing else does. A
// field the keeper is filling stays as it is, as does what was unfolded.
func TestLooksAgainByItself(t *testing.T) {
	f := newFake()
	cfg := f.config()
	cfg.Refresh = 100 * time.Millisecond
	p := newPage(t, cfg)
	var whole, parts atomic.Int32 // answers to a page left open
	b := open(t, startChromium(t), server(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("Page-Holds") == "" {
			p.ServeHTTP(w, r)
			return
		}
		r.Header.Del("Accept-Encoding")
		kept := httptest.NewRecorder()
		if p.ServeHTTP(kept, r); strings.Contains(kept.Body.String(), "<main") {
			whole.Add(1)
		} else {
			parts.Add(1)
		}
		maps.Copy(w.Header(), kept.Header())
		w.WriteHeader(kept.Code)
		_, _ = kept.Body.WriteTo(w)
	})), phone)

	b.visit(t, "/rounds")
	const amount = `#z-crate\.all\.too-dry [name=amount]`
	eval[bool](t, b, fmt.Sprintf("document.querySelector(%q).focus() === undefined", amount)) // from here on it is the keeper's
	b.do(t, chromedp.SendKeys(chromedp.CSS(amount), kb.End+kb.Backspace+"7.5"))
	f.change(func(f *fake) {
		f.rounds.Care = append([]farm.Care(nil), f.rounds.Care...)
		f.rounds.Care[0].Do, f.rounds.Care[1].Do = "Stand by with a bucket.", "Sprinkle a little more."
	})
	proctest.Eventually(t, "the first line changes", func() bool {
		return strings.Contains(b.text(t, ".care"), "Stand by with a bucket.")
	})
	if v := eval[string](t, b, `document.querySelector("#z-crate\\.all\\.too-dry [name=amount]").value`); v != "7.5" {
		t.Errorf("the half-filled field became %q", v)
	}

	b.visit(t, "/")
	eval[bool](t, b, `document.querySelector("#e-e7 summary").click() === undefined`)
	eval[bool](t, b, `document.querySelector("#z-crate\\.all").standing = true`)
	f.change(func(f *fake) {
		f.view.Bins = append([]farm.BinView(nil), f.view.Bins...)
		zones := append([]farm.ZoneView(nil), f.view.Bins[1].Zones...)
		zones[0].Levels = maps.Clone(zones[0].Levels) // the page may be reading the old ones
		zones[0].Levels[farm.Temperature] = level(31.4, mixedT)
		f.view.Bins[1].Zones = zones
	})
	eval[bool](t, b, `document.activeElement.blur() === undefined`)
	proctest.Eventually(t, "the new temperature appears", func() bool {
		return strings.Contains(b.text(t, `#z-bed\.near`), "31.4 °C")
	})
	if !eval[bool](t, b, `document.querySelector("#e-e7").open`) {
		t.Error("what was unfolded is folded again")
	}
	if !eval[bool](t, b, `document.querySelector("#z-crate\\.all").standing === true`) {
		t.Error("what did not change was put in anew")
	}
	if w, n := whole.Load(), parts.Load(); w > 0 || n == 0 {
		t.Errorf("%d pages came whole, and %d times parts", w, n)
	}
	f.change(func(f *fake) { f.view.Standing = f.view.Standing[1:] }) // the bed is no longer first
	proctest.Eventually(t, "the opening sentence follows", func() bool {
		return strings.Contains(b.text(t, "h1"), "Three things need you today")
	})
	f.change(func(f *fake) { f.view.Bins = f.view.Bins[:1] })
	proctest.Eventually(t, "the other bins go", func() bool { return eval[int](t, b, `document.querySelectorAll(".bin").length`) < 4 })
	n := parts.Load()
	if whole.Load() == 0 {
		t.Error("bins have gone, and no page came whole")
	}
	proctest.Eventually(t, "parts come again", func() bool { return parts.Load() > n })
	b.quiet(t)
}

// TestReadingACurve: a finger on a curve tells value and time, and so do the
// arrow keys.
func TestReadingACurve(t *testing.T) {
	b := open(t, startChromium(t), server(t, newPage(t, newFake().config())), desktop)
	b.visit(t, "/bins/bed")
	at := eval[[]float64](t, b, `(() => { const r = document.querySelector(".cut").getBoundingClientRect(); return [r.left + r.width * 0.795, r.top + 60]; })()`)
	b.do(t, chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, at[0], at[1]))
	// The level at the right end of the curve, at noon UTC in London.
	if s := b.text(t, ".readout"); !strings.HasPrefix(s, "30.") || !strings.Contains(s, "°C, Fri") || !strings.Contains(s, "9 Jul") {
		t.Errorf("under the mouse: %q", s)
	}
	b.do(t, chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, 5, 5))
	if n := eval[int](t, b, `document.querySelectorAll(".readout, .point").length`); n != 0 {
		t.Errorf("away from the curve %d things are left", n)
	}
	b.do(t, chromedp.Focus(chromedp.CSS(".cut")))
	b.do(t, chromedp.KeyEvent(kb.ArrowLeft)) // left arrow: from the end one corner back
	first := b.text(t, ".readout")
	b.do(t, chromedp.KeyEvent(kb.ArrowLeft))
	if second := b.text(t, ".readout"); first == "" || second == first {
		t.Errorf("by keys: %q then %q", first, second)
	}
	b.sight(t, "reading-a-curve")
	b.quiet(t)
}

// TestWithoutScripts: every page stands by itself, and looks again by its head.
func TestWithoutScripts(t *testing.T) {
	b := open(t, startChromium(t), server(t, newPage(t, newFake().config())), phone)
	b.withoutScripts(t)
	for path, says := range map[string]string{"/": "heating up", "/bins/bed": "Diary", "/rounds": "Bring", "/probes": "bed-m", "/jot": "Where?"} {
		b.visit(t, path)
		if s := b.text(t, "main"); !strings.Contains(s, says) {
			t.Errorf("%s does not say %q", path, says)
		}
	}
	b.quiet(t)
}
