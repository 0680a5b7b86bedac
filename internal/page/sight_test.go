package page_test

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/chromedp"
)

// everyPage is one of each kind.
var everyPage = []string{
	"/", "/bins/bed", "/bins/barrel?span=1y", "/rounds", "/probes", "/reliability", "/probes/bed-m?raw1=1&truth1=10&raw2=2&truth2=60",
	"/jot", "/jot?bin=bed&zone=near", "/jot?bin=bed&zone=near&what=fed", "/jot?bin=bed&zone=far&what=sifted", "/hush?bin=crate", "/nowhere",
}

// controls are the roles of what a keeper can work, WAI-ARIA 1.2 §5.3.2.
var controls = map[string]bool{
	"button": true, "link": true, "textbox": true, "combobox": true, "spinbutton": true, "checkbox": true, "radio": true,
	"listbox": true, "DateTime": true, "InputTime": true, "DisclosureTriangle": true, "Image": true, "image": true, "img": true,
}

// TestEveryControlHasAName asks Chromium's own accessibility tree (WCAG 2.2,
// W3C 2023, 4.1.2 Name, Role, Value).
func TestEveryControlHasAName(t *testing.T) {
	chrome := startChromium(t)
	_, locked := lockedPage(t)
	gate := open(t, chrome, server(t, locked), phone)
	gate.visit(t, "/login")
	named(t, gate, "/login", 2)
	b := open(t, chrome, server(t, newPage(t, newFake().config())), phone)
	for _, path := range everyPage {
		b.visit(t, path)
		named(t, b, path, 6) // the way about alone has five links and the skip
	}
}

func named(t *testing.T, b *browser, path string, atLeast int) {
	t.Helper()
	var nodes []*accessibility.Node
	call(t, b, func(ctx context.Context) error {
		tree, err := chromedp.Call(ctx, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
		nodes = tree.Nodes
		return err
	})
	found := 0
	seen := map[string]int{}
	for _, n := range nodes {
		if n.Ignored || n.Role == nil || !controls[value(n.Role)] {
			continue
		}
		found++
		name := value(n.Name)
		if strings.TrimSpace(name) == "" {
			t.Errorf("%s: a %s has no name", path, value(n.Role))
		}
		if value(n.Role) == "button" {
			seen[name]++
		}
	}
	if found < atLeast {
		t.Errorf("%s: only %d controls are seen; the test looks at the wrong thing", path, found)
	}
	for name, n := range seen {
		if n > 1 {
			t.Errorf("%s: %d buttons are called %q; nobody can tell which is which by ear", path, n, name)
		}
	}
}

func value(v *accessibility.Value) string {
	if v == nil {
		return ""
	}
	return strings.Trim(string(v.Value), `"`)
}

// contrastScript measures every visible text against the ground behind it and
// tells those under WCAG 2.2's 1.4.3: 4.5:1, or 3:1 from 24 px, or 18.66 px
// bold. It works by relative luminance as the standard defines it.
const contrastScript = `(() => {
  const parse = (c) => { const m = c.match(/[\d.]+/g).map(Number); return [m[0], m[1], m[2], m.length > 3 ? m[3] : 1]; };
  const over = (a, b) => [0, 1, 2].map((i) => a[i] * a[3] + b[i] * (1 - a[3])).concat(1);
  const lum = (c) => { const [r, g, b] = c.slice(0, 3).map((v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; }); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const ground = (e) => { const up = []; for (; e; e = e.parentElement) up.push(parse(getComputedStyle(e).backgroundColor)); return up.reverse().reduce((b, a) => over(a, b), [255, 255, 255, 1]); };
  const poor = []; let n = 0;
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node; (node = walk.nextNode());) {
    const e = node.parentElement;
    if (!node.data.trim() || e.closest("svg, noscript, script, .unseen, .skip") || !e.getClientRects().length) continue;
    const s = getComputedStyle(e), size = parseFloat(s.fontSize), bold = Number(s.fontWeight) >= 700;
    const a = lum(over(parse(s.color), ground(e))), b = lum(ground(e));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    n++;
    if (ratio < (size >= 24 || (size >= 18.66 && bold) ? 3 : 4.5)) poor.push(ratio.toFixed(2) + ": " + node.data.trim().slice(0, 40));
  }
  return n < 3 ? ["only " + n + " texts were measured"] : poor;
})()`

// reachScript tells what is wrong for a cold thumb: buttons under 44 px (WCAG
// 2.2, 2.5.5, level AAA) and anything to press under 24 px (2.5.8, AA; links
// in running text are excepted there), and whatever makes the page wider than
// its window (1.4.10 Reflow).
const reachScript = `(() => {
  const poor = [];
  const wide = document.documentElement.scrollWidth, window_ = document.documentElement.clientWidth;
  if (wide > window_) poor.push("the page is " + wide + " px wide in a window of " + window_);
  for (const e of document.querySelectorAll("button, .button, summary, select, input:not([type=hidden]), nav a, .choose a, .wants a, .rows a, .what a")) {
    const r = e.getBoundingClientRect();
    if (!r.width || e.matches("[hidden]")) continue;
    const least = e.matches(".what a") ? 24 : 44;
    if (r.height < least || r.width < 24) poor.push(e.outerHTML.slice(0, 60) + " is " + r.width.toFixed(0) + " by " + r.height.toFixed(0) + " px");
  }
  return poor;
})()`

func TestContrastAndReach(t *testing.T) {
	chrome := startChromium(t)
	srv := server(t, newPage(t, newFake().config()))
	narrowest := size{"narrowest", 320, 640, true} // 320 CSS px: WCAG 2.2, 1.4.10
	for _, s := range []size{narrowest, phone, desktop} {
		b := open(t, chrome, srv, s)
		for _, path := range everyPage {
			b.dark(t, false)
			b.visit(t, path)
			for _, poor := range eval[[]string](t, b, reachScript) {
				t.Errorf("%s, %s: %s", path, s.name, poor)
			}
			if s == narrowest {
				continue // the inks are the phone's
			}
			for _, dark := range []bool{false, true} {
				b.dark(t, dark)
				for _, poor := range eval[[]string](t, b, contrastScript) {
					t.Errorf("%s, %s, dark %v: contrast %s", path, s.name, dark, poor)
				}
			}
		}
		b.quiet(t)
	}
}

// graphicScript reads the inks of a picture as the browser resolves them.
const graphicScript = `(() => {
  const root = getComputedStyle(document.documentElement), out = {};
  for (const name of ["ink", "run", "water", "edge", "beet", "thrive", "bear", "harm", "air", "paper"]) {
    const probe = document.createElement("i");
    probe.setAttribute("class", "skip");
    document.body.append(probe);
    probe.style.color = root.getPropertyValue("--" + name);
    out[name] = getComputedStyle(probe).color;
    probe.remove();
  }
  return out;
})()`

// TestPicturesStandOut holds what carries meaning in a picture to 3:1 against
// every ground it may cross (WCAG 2.2, 1.4.11 Non-text Contrast).
func TestPicturesStandOut(t *testing.T) {
	b := open(t, startChromium(t), server(t, newPage(t, newFake().config())), phone)
	for _, dark := range []bool{false, true} {
		b.dark(t, dark)
		b.visit(t, "/")
		inks := eval[map[string]string](t, b, graphicScript)
		for _, front := range []string{"run", "water", "beet"} {
			for _, ground := range []string{"thrive", "bear", "harm", "air"} {
				if r := ratio(t, inks[front], inks[ground]); r < 3 {
					t.Errorf("dark %v: %s on %s has %.2f:1, want 3:1", dark, front, ground, r)
				}
			}
		}
		if r := ratio(t, inks["edge"], inks["air"]); r < 3 {
			t.Errorf("dark %v: the edge of a field has %.2f:1, want 3:1", dark, r)
		}
	}
}

func ratio(t *testing.T, a, b string) float64 {
	t.Helper()
	x, y := luminance(t, a), luminance(t, b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

func luminance(t *testing.T, rgb string) float64 {
	t.Helper()
	var c [3]float64
	if _, err := fmt.Sscanf(rgb, "rgb(%f, %f, %f)", &c[0], &c[1], &c[2]); err != nil {
		t.Fatalf("colour %q: %v", rgb, err)
	}
	return 0.2126*linear(c[0]) + 0.7152*linear(c[1]) + 0.0722*linear(c[2])
}

// TestDarkIsDark: the page follows the visitor's wish.
func TestDarkIsDark(t *testing.T) {
	b := open(t, startChromium(t), server(t, newPage(t, newFake().config())), phone)
	ground := func(dark bool) float64 {
		b.dark(t, dark)
		b.visit(t, "/")
		return luminance(t, eval[string](t, b, `getComputedStyle(document.body).backgroundColor`))
	}
	if light, dark := ground(false), ground(true); light < 0.7 || dark > 0.05 {
		t.Errorf("the ground has luminance %.2f in light and %.2f in dark", light, dark)
	}
}

// TestStateIsNotColourAlone: with every colour gone, each state still has its
// own shape and its own word (WCAG 2.2, 1.4.1 Use of Color).
func TestStateIsNotColourAlone(t *testing.T) {
	closed := newFake()
	closed.know() // with a lid off, one would have another state
	body := get(newPage(t, closed.config()), "/").Body.String() + get(newPage(t, newFake().config()), "/").Body.String()
	for _, pair := range [][2]string{
		{"#p-none", "</svg>lid off, not judged"},
		{"#u-now", "</svg>now"}, {"#u-today", "</svg>today"}, {"#u-soon", "</svg>soon"},
		{"#p-in", "</svg>comfortable"}, {"#p-above", "</svg>warmer than they like"}, {"#p-below", "</svg>drier than they like"}, {"#p-none", "</svg>was comfortable"},
		{"#w-thriving", "</b> thriving"}, {"#w-slowed", "</b> slowed"},
	} {
		wantAll(t, body, `href="`+pair[0]+`"`, pair[1])
	}
}

// linear undoes sRGB's curve, IEC 61966-2-1.
func linear(v float64) float64 {
	if v /= 255; v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}
