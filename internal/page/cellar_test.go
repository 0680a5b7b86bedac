package page_test

import (
	"context"
	_ "embed"
	"io"
	"maps"
	"net"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/chromedp/cdproto/storage"
	"github.com/chromedp/chromedp"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
	"binwatchd/internal/proctest"
)

// A cellar is a phone at a daemon whose network can be cut: nobody listens then.
type cellar struct {
	t      *testing.T
	f      *fake
	b      *browser
	daemon atomic.Pointer[http.Handler]
	lose   atomic.Bool // answers to what is sent get lost on their way
	away   atomic.Bool // a proxy answers lines in the daemon's place: it is not up yet
	older  atomic.Bool // the daemon is of a version before this one
	addr   string
	srv    *httptest.Server
}

// goDown opens the first page, so that the worker has kept the rounds.
func goDown(t *testing.T, chrome context.Context) *cellar {
	t.Helper()
	return goDownAt(t, chrome, &cellar{})
}

func goDownAt(t *testing.T, chrome context.Context, c *cellar) *cellar {
	t.Helper()
	c.t, c.f, c.addr = t, newFake(), "127.0.0.1:0"
	c.restart()
	c.up()
	t.Cleanup(func() { c.srv.Close() })
	c.b = open(t, chrome, c.srv, phone)
	c.login("Ann", "/")
	c.settled("0")
	return c
}

func (c *cellar) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := *c.daemon.Load()
	if c.lose.Load() && r.Method == http.MethodPost {
		h.ServeHTTP(httptest.NewRecorder(), r)
		panic(http.ErrAbortHandler)
	}
	if c.away.Load() && r.URL.Path == "/jot" && r.Method == http.MethodPost {
		w.WriteHeader(http.StatusServiceUnavailable)
		return
	}
	if c.older.Load() {
		asBefore(h, w, r)
		return
	}
	h.ServeHTTP(w, r)
}

// workerBefore is the first worker that was shipped, to the letter: phones have it, with
// lines that wait in it, until they meet a newer one. It stays as it is.
//
//go:embed testdata/worker-older.js
var workerBefore string

var workerURL = regexp.MustCompile(`worker\.js\?v=\w+`)

// asBefore answers as a daemon that ships that worker.
func asBefore(h http.Handler, w http.ResponseWriter, r *http.Request) {
	r.Header.Del("Accept-Encoding")
	r.Header.Del("If-None-Match")
	was := httptest.NewRecorder()
	h.ServeHTTP(was, r)
	body := workerURL.ReplaceAllString(was.Body.String(), "worker.js?v=before")
	if r.URL.Path == "/static/worker.js" {
		body = workerBefore
	}
	maps.Copy(w.Header(), was.Header())
	w.Header().Del("Content-Length")
	w.WriteHeader(was.Code)
	_, _ = io.WriteString(w, body) // a tab that has gone misses nothing
}

func (c *cellar) up() {
	c.t.Helper()
	ln, err := net.Listen("tcp", c.addr)
	if err != nil {
		c.t.Fatal(err)
	}
	c.addr = ln.Addr().String()
	c.srv = &httptest.Server{Listener: ln, Config: &http.Server{Handler: c}}
	c.srv.Start()
}

func (c *cellar) cut() { c.srv.CloseClientConnections(); c.srv.Close() }

// restart is another daemon on the same journal: who was logged in is not any more.
func (c *cellar) restart() {
	c.t.Helper()
	cfg := c.f.config()
	cfg.Password = password
	var p http.Handler = newPage(c.t, cfg)
	c.daemon.Store(&p)
}

func (c *cellar) login(who, next string) {
	c.t.Helper()
	c.b.visit(c.t, "/login?next="+next)
	c.b.do(c.t, chromedp.SendKeys(chromedp.CSS("#who"), who), chromedp.SendKeys(chromedp.CSS("#password"), password))
	c.b.press(c.t, "main form button")
}

// settled returns when the worker has answered that so many lines wait.
func (c *cellar) settled(waits string) {
	c.t.Helper()
	proctest.Eventually(c.t, waits+" lines wait", func() bool {
		return eval[string](c.t, c.b, `document.body.dataset.waits ?? ""`) == waits
	})
}

func (c *cellar) says(words ...string) {
	c.t.Helper()
	for _, w := range words {
		proctest.Eventually(c.t, "the page says "+w, func() bool { return strings.Contains(c.b.text(c.t, "main"), w) })
	}
}

func soaking(t *testing.T) {
	t.Helper()
	if !efforttest.Soak() {
		t.Skip("a share of make soak")
	}
}

const crateTick = `#z-crate\.all\.too-dry form.tick `

// tick ticks off a line of the kept rounds.
func (c *cellar) tick() {
	c.t.Helper()
	c.b.visit(c.t, "/rounds")
	c.b.press(c.t, crateTick+"button.done")
}

// runs returns when the worker of that version answers for the page, and no other.
func (c *cellar) runs(version string) {
	c.t.Helper()
	proctest.Eventually(c.t, "the worker "+version+" runs", func() bool {
		return strings.HasSuffix(eval[string](c.t, c.b, `navigator.serviceWorker?.controller?.scriptURL ?? ""`), "?v="+version)
	})
}

// answer presses the first button of what was not written, in the breath in which it is found.
func (c *cellar) answer() {
	c.t.Helper()
	eval[bool](c.t, c.b, `document.querySelector("#kept li button").click() === undefined`)
}

// wrote are the lines in the journal's order.
func (c *cellar) wrote() (all []string) {
	for _, e := range c.f.done() {
		all = append(all, e.Jot.By+" "+e.Jot.Bin+" "+string(e.Jot.What))
	}
	return all
}

func (c *cellar) wants(lines ...string) {
	c.t.Helper()
	proctest.Eventually(c.t, "the lines are written", func() bool { return len(c.wrote()) >= len(lines) })
	if got := c.wrote(); !slices.Equal(got, lines) {
		c.t.Errorf("written: %q, want %q", got, lines)
	}
}

// TestTheRoundsInACellar goes with a phone where there is no network, in the real browser.
// The ways in which it may go otherwise share the browser; each has a daemon of its own. SOAK
// goes those too that other tests go without a browser.
func TestTheRoundsInACellar(t *testing.T) {
	chrome := startChromium(t, "MAP hillfoot.example 127.0.0.1")
	t.Run("ticks and jots are sent later, once each and in order", func(t *testing.T) {
		c := goDown(t, chrome)
		c.cut()
		c.b.visit(t, "/") // the rounds were never looked at
		if at := c.b.path(t); at != "/rounds" {
			t.Errorf("without a network at %s, want the rounds", at)
		}
		c.says("No network here: these are the rounds as of", "old. What you tick or write is sent later.")
		c.tick()
		c.settled("1")
		c.says("1 line waits to be sent", "crate/all watered", "Waits to be sent.")
		if eval[bool](t, c.b, `document.querySelector("`+strings.ReplaceAll(crateTick, `\`, `\\`)+`") !== null`) {
			t.Error("what is ticked can be ticked again")
		}
		c.b.visit(t, "/jot?bin=bed&zone=near")
		if s := c.b.text(t, "main"); !strings.Contains(s, "Bed, near: what was done?") || strings.Contains(s, "Cabinet") {
			t.Errorf("the place is asked for again: %s", s)
		}
		c.b.do(t, chromedp.SendKeys(chromedp.CSS("#text"), "turned"))
		c.b.press(t, "main form button.done")
		c.settled("2")
		if n := len(c.f.done()); n != 0 {
			t.Fatalf("%d lines got through without a network", n)
		}
		// The daemon has been started anew meanwhile, so that the login has run out.
		c.restart()
		c.up()
		c.b.visit(t, "/rounds")
		if at := c.b.path(t); !strings.HasPrefix(at, "/login") {
			t.Fatalf("at %s, want the login", at)
		}
		if n := len(c.f.done()); n != 0 {
			t.Fatalf("%d lines were written without a login", n)
		}
		c.login("Bo", "/rounds")
		c.wants("Ann crate watered", "Ann bed turned") // by whom they were done
		c.settled("0")
		if s := c.b.text(t, "#kept"); s != "" {
			t.Errorf("all is sent, and the page says %q", s)
		}
	})
	t.Run("an answer that is lost", func(t *testing.T) {
		soaking(t)
		c := goDown(t, chrome)
		c.lose.Store(true)
		c.tick()
		c.settled("1")
		c.lose.Store(false)
		c.b.visit(t, "/rounds")
		c.settled("0")
		c.wants("Ann crate watered")
	})
	t.Run("two tabs tick the same line", func(t *testing.T) {
		soaking(t)
		c := goDown(t, chrome)
		c.cut()
		one, other := c.b, open(t, chrome, c.srv, phone)
		other.visit(t, "/rounds")
		c.tick()
		other.press(t, crateTick+"button.done")
		c.settled("2")
		c.up()
		c.b = other
		c.b.visit(t, "/rounds")
		c.settled("0")
		c.wants("Ann crate watered")
		c.b = one
	})
	t.Run("somebody else was first", func(t *testing.T) {
		soaking(t)
		c := goDown(t, chrome)
		c.cut()
		c.tick()
		c.f.change(func(f *fake) {
			f.acts = append(f.acts, farm.Event{Kind: farm.EventJot, Jot: farm.Jot{At: noon, Bin: "crate", Zone: "all", What: farm.Watered, Litres: 1, By: "Bo"}})
		})
		c.up()
		c.b.visit(t, "/rounds")
		c.says("Not written", "Bo did that already, about 2 pm: Crate watered about 1 litre.")
		c.wants("Bo crate watered")
		c.answer() // I did it too
		c.wants("Bo crate watered", "Ann crate watered")
		c.settled("0")
	})
	t.Run("the bin is gone", func(t *testing.T) {
		c := goDown(t, chrome)
		c.cut()
		c.tick()
		f := *c.f.farm
		f.Bins = slices.DeleteFunc(slices.Clone(f.Bins), func(b farm.Bin) bool { return b.Name == "crate" })
		c.f.change(func(fk *fake) { fk.farm = &f })
		c.up()
		c.b.visit(t, "/rounds")
		c.says("Not written", "crate/all watered 1 L: This farm has no bin")
		if href := eval[string](t, c.b, `document.querySelector("#kept li a").getAttribute("href")`); href != "/jot?text=crate%2Fall%20watered%201%20L" {
			t.Errorf("it is put right at %s", href)
		}
		c.answer() // leave it
		proctest.Eventually(t, "it is put away", func() bool { return c.b.text(t, "#kept") == "" })
		c.wants()
	})
	t.Run("who logs out leaves nothing to read", func(t *testing.T) {
		c := goDown(t, chrome)
		c.b.visit(t, "/")
		c.b.press(t, "form.leave button")
		c.cut()
		c.b.do(t, chromedp.Navigate(c.b.url+"/rounds"))
		if s := c.b.text(t, "body"); !strings.HasPrefix(s, "There is no network, and no rounds are kept on this phone.") {
			t.Errorf("the phone shows %q", s)
		}
	})
	t.Run("the daemon is updated meanwhile", func(t *testing.T) {
		soaking(t)
		before := &cellar{}
		before.older.Store(true)
		c := goDownAt(t, chrome, before)
		c.runs("before")
		c.cut()
		c.tick()
		c.b.visit(t, "/jot?bin=bed&zone=near")
		c.b.do(t, chromedp.SendKeys(chromedp.CSS("#text"), "turned"))
		c.b.press(t, "main form button.done")
		c.settled("2")
		c.older.Store(false)
		c.away.Store(true) // so that the older worker can't have sent them
		c.restart()
		c.up()
		c.login("Bo", "/rounds")
		proctest.Eventually(t, "the new worker runs", func() bool { // a slow answer brings the older page once more
			c.b.visit(t, "/rounds")
			return eval[bool](t, c.b, `!(navigator.serviceWorker?.controller?.scriptURL ?? "?v=before").endsWith("?v=before")`)
		})
		c.settled("2")
		c.away.Store(false)
		c.b.visit(t, "/rounds")
		c.wants("Ann crate watered", "Ann bed turned")
		c.settled("0")
		// The new one has what the older one kept, and keeps on.
		c.cut()
		c.b.visit(t, "/")
		c.says("No network here: these are the rounds as of")
		c.b.visit(t, "/jot?bin=bed&zone=near")
		c.b.do(t, chromedp.SendKeys(chromedp.CSS("#text"), "fed 1 kg scraps"))
		c.b.press(t, "main form button.done")
		c.settled("1")
		c.up()
		c.b.visit(t, "/rounds")
		c.settled("0")
		c.wants("Ann crate watered", "Ann bed turned", "Bo bed fed")
	})
	t.Run("the phone has no room", func(t *testing.T) {
		c := goDown(t, chrome)
		full := 1.0 // byte
		call(t, c.b, func(ctx context.Context) error {
			_, err := chromedp.Call(ctx, storage.OverrideQuotaForOrigin, storage.OverrideQuotaForOriginParams{Origin: c.b.url, QuotaSize: &full})
			return err
		})
		c.cut()
		c.b.visit(t, "/rounds")
		c.b.press(t, crateTick+"button.done")
		if s := c.b.text(t, "body"); !strings.Contains(s, "has no room to keep this: nothing was written") {
			t.Errorf("the phone shows %q", s)
		}
	})
	t.Run("where the browser does not trust the way", func(t *testing.T) {
		_, p := lockedPage(t)
		b := open(t, chrome, server(t, p), phone)
		b.url = strings.Replace(b.url, "127.0.0.1", "hillfoot.example", 1)
		c := &cellar{t: t, b: b}
		c.login("", "/rounds")
		c.says("At this address the phone can keep nothing: it needs https that it trusts. Print the rounds for where there is no network.")
	})
}
