package page_test

import (
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/page"
)

// A crowd reads a page whose every look takes a time, and counts how many look at once.
type crowd struct {
	*page.Page
	f             *fake
	mu            sync.Mutex
	looking, most int
	takes         time.Duration
	panics        atomic.Bool
	left          chan int // with which status each was left
}

func newCrowd(t *testing.T, atOnce int, takes time.Duration) *crowd {
	c := &crowd{f: newFake(), takes: takes, left: make(chan int, 100)}
	cfg := c.f.config()
	cfg.AtOnce = atOnce
	cfg.Look = func() (farm.View, bool) {
		c.looks(1)
		defer c.looks(-1)
		time.Sleep(c.takes)
		if c.panics.Load() {
			panic("a look that fails")
		}
		return c.f.look()
	}
	c.Page = newPage(t, cfg)
	return c
}

func (c *crowd) looks(more int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.looking += more
	c.most = max(c.most, c.looking)
}

// read has so many ask how the farm stands, and counts with which status they are left.
func (c *crowd) read(many int) map[int]int {
	for range many {
		go func() { c.left <- get(c.Page, "/api/now").Code }()
	}
	got := map[int]int{}
	for range many {
		got[<-c.left]++
	}
	return got
}

func TestReadersTakeTurns(t *testing.T) {
	for _, tt := range []struct {
		name               string
		atOnce, many       int
		takes              time.Duration
		answered, sentAway int
	}{
		{"all within two seconds", 2, 14, 300 * time.Millisecond, 14, 0},
		{"one at a time", 1, 7, 300 * time.Millisecond, 7, 0},
		{"more than are drawn in two seconds", 2, 20, 300 * time.Millisecond, 14, 6},
		{"a look that hangs", 2, 10, time.Minute, 2, 8},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				c := newCrowd(t, tt.atOnce, tt.takes)
				got := c.read(tt.many)
				if got[http.StatusOK] != tt.answered || got[http.StatusServiceUnavailable] != tt.sentAway {
					t.Errorf("got %v; want %d answered and %d sent away", got, tt.answered, tt.sentAway)
				}
				if c.most != tt.atOnce {
					t.Errorf("%d were drawn at once, want %d", c.most, tt.atOnce)
				}
			})
		})
	}
}

// TestAReaderIsAskedToComeAgain says when, to people and to programs; meanwhile what is
// written is taken.
func TestAReaderIsAskedToComeAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCrowd(t, 1, time.Minute)
		go get(c.Page, "/")
		synctest.Wait()
		for path, says := range map[string]string{"/probes": "Too many are looking", "/api/now": `"error": "Too many`} {
			w := get(c.Page, path)
			if w.Code != http.StatusServiceUnavailable || w.Header().Get("Retry-After") != "2" || !strings.Contains(w.Body.String(), says) {
				t.Errorf("%s: got %d, come again after %q, %s", path, w.Code, w.Header().Get("Retry-After"), w.Body)
			}
			if w.Header().Get("Content-Security-Policy") == "" {
				t.Errorf("%s: the answer lacks the headers of all others", path)
			}
		}
		if w := post(c.Page, "/jot", form("bin", "bed", "what", "turned", "once", "this form")); w.Code != http.StatusSeeOther {
			t.Errorf("a line for the logbook got %d", w.Code)
		}
		time.Sleep(time.Minute)
	})
}

// TestAPhoneAtTheEdgeOfTheNetwork takes its time, and nobody's turn; nor does one that
// has gone, or a page that panics.
func TestAPhoneAtTheEdgeOfTheNetwork(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCrowd(t, 1, time.Millisecond)
		end := make(chan struct{})
		go c.ServeHTTP(slowWriter{httptest.NewRecorder(), end}, request(http.MethodGet, "/", nil))
		synctest.Wait()
		gone, leave := context.WithCancel(t.Context())
		leave()
		c.ServeHTTP(httptest.NewRecorder(), request(http.MethodGet, "/", nil).WithContext(gone))
		c.panics.Store(true)
		if w := get(c.Page, "/"); w.Code != http.StatusInternalServerError {
			t.Errorf("a page that panics got %d", w.Code)
		}
		c.panics.Store(false)
		if got := c.read(10); got[http.StatusServiceUnavailable] > 0 {
			t.Errorf("got %v beside one that takes its time", got)
		}
		close(end)
	})
}

// A slowWriter takes nothing until the end.
type slowWriter struct {
	*httptest.ResponseRecorder
	end chan struct{}
}

func (w slowWriter) Write(b []byte) (int, error) { <-w.end; return w.ResponseRecorder.Write(b) }

// TestAViewIsLeftAsItWas: many look at one and the same.
func TestAViewIsLeftAsItWas(t *testing.T) {
	f := newFake()
	all := func() string {
		b, err := json.Marshal([]any{f.view, f.rounds})
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	before, p := all(), newPage(t, f.config())
	for _, path := range []string{"/", "/?find=bed", "/bins/bed", "/bins/trays?span=1y", "/rounds", "/probes", "/probes/bed-m", "/jot?bin=bed", "/hush?bin=bed", "/reliability", "/api/now", "/api/rounds"} {
		if w := get(p, path); w.Code != http.StatusOK {
			t.Errorf("%s: status %d", path, w.Code)
		}
	}
	if all() != before {
		t.Error("a page has changed what it was given to look at")
	}
}
