package page_test

import (
	"context"
	"flag"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

var (
	screens  = flag.String("screens", "../../out/screens", "folder for pictures of the pages")
	chromium = flag.String("chromium", "/usr/bin/chromium", "the browser to look with")
)

// A size is a window a keeper may look through, CSS px.
type size struct {
	name          string
	width, height int64
	phone         bool
}

var (
	phone   = size{"phone", 360, 740, true}
	desktop = size{"desktop", 1280, 860, false}
)

// A browser is one tab of a Chromium, and what it complained of.
type browser struct {
	ctx context.Context
	url string

	mu         sync.Mutex
	complaints []string // console lines and exceptions
	elsewhere  []string // requests that left the page's own host
}

// startChromium starts one Chromium for a test, which finds hosts by the given rules; open
// makes tabs of it. A machine without Chromium fails the test: it is part of what must hold.
func startChromium(t *testing.T, hosts ...string) context.Context {
	t.Helper()
	alloc, stop := chromedp.NewExecAllocator(context.Background(),
		chromedp.ExecPath(*chromium), chromedp.NoFirstRun, chromedp.NoDefaultBrowserCheck,
		chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("hide-scrollbars", true),
		chromedp.Flag("force-prefers-reduced-motion", true),
		chromedp.Flag("host-resolver-rules", strings.Join(hosts, ",")))
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(func() { cancel(); stop() })
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("start %s: %v", *chromium, err)
	}
	return ctx
}

// open opens a tab on a server and listens to what it complains of.
func open(t *testing.T, chrome context.Context, server *httptest.Server, s size) *browser {
	t.Helper()
	b := &browser{url: server.URL}
	ctx, cancel := chromedp.NewContext(chrome, chromedp.WithListener(b.listen))
	t.Cleanup(cancel)
	b.ctx = ctx
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("open a tab: %v", err)
	}
	call(t, b, func(ctx context.Context) error {
		if _, err := chromedp.Call(ctx, network.Enable, network.EnableParams{}); err != nil {
			return err
		}
		_, err := chromedp.Call(ctx, log.Enable, struct{}{})
		return err
	})
	b.resize(t, s)
	return b
}

func (b *browser) listen(ev any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch ev := ev.(type) {
	case *runtime.EventExceptionThrown:
		b.complaints = append(b.complaints, ev.ExceptionDetails.Text+" in "+ev.ExceptionDetails.URL)
	case *runtime.EventConsoleAPICalled:
		b.complaints = append(b.complaints, "console: "+string(ev.Type))
	case *log.EventEntryAdded:
		if !strings.HasSuffix(ev.Entry.URL, "/nowhere") { // asked for to see it refused
			b.complaints = append(b.complaints, string(ev.Entry.Level)+": "+ev.Entry.Text+" "+ev.Entry.URL)
		}
	case *network.EventRequestWillBeSent:
		// A data: address is the browser's own drawing of a field and leaves nothing.
		if u, err := url.Parse(ev.Request.URL); err != nil || u.Scheme != "data" && "http://"+u.Host != b.url {
			b.elsewhere = append(b.elsewhere, ev.Request.URL)
		}
	}
}

// call does something with the tab, within a minute.
func call(t *testing.T, b *browser, do func(ctx context.Context) error) {
	t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, time.Minute)
	defer cancel()
	if err := do(ctx); err != nil {
		t.Fatalf("browser: %v", err)
	}
}

func (b *browser) do(t *testing.T, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	call(t, b, func(ctx context.Context) error { return chromedp.Do(ctx, steps...) })
}

// ask runs one action and gives its answer.
func ask[T any](t *testing.T, b *browser, a chromedp.Action[T]) (v T) {
	t.Helper()
	call(t, b, func(ctx context.Context) (err error) {
		v, err = chromedp.Run(ctx, a)
		return err
	})
	return v
}

func (b *browser) resize(t *testing.T, s size) {
	t.Helper()
	how := []chromedp.EmulateViewportOption{chromedp.EmulateScale(2)}
	if s.phone {
		how = append(how, chromedp.EmulateMobile, chromedp.EmulateTouch, chromedp.EmulatePortrait)
	}
	b.do(t, chromedp.EmulateViewport(s.width, s.height, how...))
}

func (b *browser) dark(t *testing.T, dark bool) {
	t.Helper()
	scheme := "light"
	if dark {
		scheme = "dark"
	}
	call(t, b, func(ctx context.Context) error {
		_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
			{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"},
		}})
		return err
	})
}

func (b *browser) withoutScripts(t *testing.T) {
	t.Helper()
	call(t, b, func(ctx context.Context) error {
		_, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
		return err
	})
}

func (b *browser) visit(t *testing.T, path string) {
	t.Helper()
	b.do(t, chromedp.Navigate(b.url+path), chromedp.WaitReady(chromedp.CSS("main")))
}

// press presses what the selector finds, as soon as it can be reached, and
// waits for the page that follows. It is pressed in the breath in which it was
// found: a pointer sent after it would hit whatever has slipped under it by then.
func (b *browser) press(t *testing.T, selector string) {
	t.Helper()
	call(t, b, func(ctx context.Context) error {
		_, err := chromedp.RunResponse(ctx, func(ctx context.Context, tab *chromedp.Target) (none chromedp.Void, err error) {
			why := ""
			for why != "pressed" {
				if why, err = chromedp.Evaluate[string](fmt.Sprintf(thumb, selector))(ctx, tab); err != nil {
					return none, fmt.Errorf("press %s: %w, last %s", selector, err, why)
				}
			}
			return none, nil
		})
		return err
	})
}

// thumb is a script that presses what a thumb would find in the middle of an element.
const thumb = `(() => {
	const e = document.querySelector(%q);
	if (!e) return "not there";
	e.scrollIntoView({ block: "center", behavior: "instant" });
	const box = e.getClientRects()[0];
	if (!box) return "not shown";
	const at = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
	if (!e.contains(at)) return "under " + at?.outerHTML;
	e.click();
	return "pressed";
})()`

// text is what an element shows, asked in one breath: a page that looks again
// may put another in its place at any time.
func (b *browser) text(t *testing.T, selector string) string {
	t.Helper()
	return eval[string](t, b, fmt.Sprintf("document.querySelector(%q)?.innerText ?? ''", selector))
}

func eval[T any](t *testing.T, b *browser, script string) T {
	t.Helper()
	return ask(t, b, chromedp.Evaluate[T](script))
}

// path is where the tab stands, without the host.
func (b *browser) path(t *testing.T) string {
	t.Helper()
	u, err := url.Parse(ask(t, b, chromedp.Location()))
	if err != nil {
		t.Fatal(err)
	}
	return u.RequestURI()
}

// picture keeps the whole page as a PNG and tells its size in bytes.
func (b *browser) picture(t *testing.T, name string) int {
	t.Helper()
	return keep(t, name, ask(t, b, chromedp.FullScreenshot(100)))
}

// sight keeps what the window shows without scrolling.
func (b *browser) sight(t *testing.T, name string) {
	t.Helper()
	keep(t, name, ask(t, b, chromedp.CaptureScreenshot()))
}

func keep(t *testing.T, name string, png []byte) int {
	t.Helper()
	if err := os.MkdirAll(*screens, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(*screens, name+".png"), png, 0o644); err != nil {
		t.Fatal(err)
	}
	return len(png)
}

// quiet fails when the browser complained or went elsewhere.
func (b *browser) quiet(t *testing.T) {
	t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, c := range b.complaints {
		t.Errorf("the browser complains: %s", c)
	}
	for _, u := range b.elsewhere {
		t.Errorf("the page asked elsewhere: %s", u)
	}
}

func server(t *testing.T, h http.Handler) *httptest.Server {
	t.Helper()
	s := httptest.NewServer(h)
	t.Cleanup(s.Close)
	return s
}
