package page_test

import (
	"context"
	"errors"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/page"
	"binwatchd/internal/reliability"
)

const day = 24 * time.Hour

// A fake is a farm that stands still until something is done to it.
type fake struct {
	mu     sync.Mutex
	farm   *farm.Farm
	view   farm.View
	blind  bool // nothing was judged yet
	rounds farm.Rounds
	acts   []farm.Event
	rough  bool  // curves as rough as a cheap probe's
	refuse error // what Act answers
	broken error // what the history answers
	lately []farm.Jot
	whose  string // part of the rounds was asked for last
	asked  int    // how many curves were asked for
	now    time.Time
	logged strings.Builder
}

func newFake() *fake {
	return &fake{farm: hillfoot(), view: hillfootView(), rounds: hillfootRounds(), now: noon}
}

func (f *fake) config() page.Config {
	return page.Config{
		Farm: func() *farm.Farm { return f.farm }, Look: f.look,
		Rounds: f.round,
		Reliability: func(context.Context) ([]reliability.Probe, error) {
			return []reliability.Probe{
				{ID: "bed-m", Readings: 3000, Heard: 0.71, Believed: 0.64, DropOuts: 14, Doubted: 290, Doubt: farm.Frozen.String(), Longer: true, Replace: true},
				{ID: "bed-t", Readings: 4320, Heard: 1, Believed: 1},
			}, nil
		},
		History: f, Act: f.act, Now: f.clock, Log: slog.New(slog.NewTextHandler(lockedWriter{f}, nil)),
	}
}

// lockedWriter lets handlers log while a test reads.
type lockedWriter struct{ f *fake }

func (w lockedWriter) Write(b []byte) (int, error) {
	w.f.mu.Lock()
	defer w.f.mu.Unlock()
	return w.f.logged.Write(b)
}

func (f *fake) log() string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.logged.String()
}

func (f *fake) clock() time.Time {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.now
}

func (f *fake) advance(d time.Duration) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.now = f.now.Add(d)
}

func (f *fake) look() (farm.View, bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.view, !f.blind
}

func (f *fake) round(who string) (farm.Rounds, bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.whose = who
	return f.rounds, !f.blind
}

// change changes the fake while a page is being served from it.
func (f *fake) change(how func(f *fake)) {
	f.mu.Lock()
	defer f.mu.Unlock()
	how(f)
}

// BinCalled knows of one bin that has been renamed and says so in its configuration no more.
func (f *fake) BinCalled(_ context.Context, name string) (string, error) {
	return map[string]string{"box": "bed"}[name], nil
}

// act keeps the event. Watering the trays answers their drying, as the rules
// would have it.
func (f *fake) act(_ context.Context, all ...farm.Event) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.refuse != nil {
		return f.refuse
	}
	for _, e := range all {
		if err := f.already(e); err != nil {
			return err
		}
	}
	f.acts = append(f.acts, all...)
	if e := all[0]; e.Kind == farm.EventJot && e.Jot.Bin == "trays" && e.Jot.What == farm.Watered {
		f.view = hillfootView()
		for i, b := range f.view.Bins {
			if b.Name == "trays" {
				f.view.Bins[i].Zones[0].Outlook = nil
				f.view.Bins[i].Zones[0].Level(farm.Moisture).Value = 78
			}
		}
	}
	return nil
}

func (f *fake) done() []farm.Event {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]farm.Event(nil), f.acts...)
}

// Samples draws a smooth, deterministic past: a daily swing, a slow drift and a
// little roughness, ending at the zone's level.
func (f *fake) Samples(_ context.Context, bin, zone string, q farm.Quantity, from, to time.Time, step time.Duration) ([]farm.Sample, error) {
	f.mu.Lock()
	f.asked++
	broken := f.broken
	f.mu.Unlock()
	if broken != nil {
		return nil, broken
	}
	swing, drift, end := shape(bin, zone, q)
	out := samples(from, to, step, swing, drift, end)
	for i := range out {
		if f.rough {
			out[i].Mean += 1.2 * math.Sin(float64(i*i)*7.13)
		}
	}
	return out, nil
}

func (f *fake) ProbeSamples(_ context.Context, probe string, from, to time.Time, step time.Duration) ([]farm.Sample, error) {
	if f.broken != nil {
		return nil, f.broken
	}
	return samples(from, to, step, 1.5, 0.2, 40+float64(len(probe))), nil
}

// shape gives the swing over a day, the drift a day and the value at noon.
func shape(bin, zone string, q farm.Quantity) (swing, drift, end float64) {
	switch bin + "/" + zone + "/" + string(q) {
	case "bed/near/temperature":
		return 1.2, 3.6, 30.6
	case "bed//temperature": // the glasshouse
		return 4, 0.4, 26.5
	case "bed/near/moisture":
		return 0.6, -0.5, 72
	case "bed/far/moisture":
		return 0.4, -2.4, 44
	case "trays/all/temperature":
		return 1.4, 0.3, 23.1
	case "trays/all/moisture":
		return 0.5, -0.8, 73
	case "cabinet/all/temperature":
		return 0.5, 0, 26.4
	case "cabinet/all/moisture":
		return 0.4, -0.1, 78
	case "trough/all/temperature":
		return 5.5, 1.2, 27.4
	case "trough/all/moisture":
		return 0.8, -0.4, 81
	case "crate/all/temperature":
		return 0.7, 0.2, 19.2
	case "crate/all/moisture":
		return 0.2, -1.1, 37
	case "barrel/all/moisture":
		return 0.2, -0.3, 48
	case "crate/all/humidity":
		return 6, 0, 81.4
	case "crate/all/weight":
		return 0.1, 0.2, 33
	case "crate/all/co2":
		return 250, 60, 2200
	case "crate/all/ph":
		return 0.1, 0.05, 7.7
	case "crate/all/conductivity":
		return 0.1, 0.1, 3.3
	}
	return 1, 0, 20
}

func samples(from, to time.Time, step time.Duration, swing, drift, end float64) []farm.Sample {
	at := func(t time.Time) float64 {
		days := t.Sub(noon).Hours() / 24
		slow := drift * 4 * (1 - math.Exp(math.Min(days, 0)/4)) // what drifts now did not always
		return end - slow + swing*(math.Cos(2*math.Pi*(days-0.08))-math.Cos(2*math.Pi*0.08)) +
			swing*0.15*math.Sin(days*19) + 3*math.Sin(days/58)
	}
	if to.After(noon) {
		to = noon
	}
	var out []farm.Sample
	for t := from; t.Before(to); t = t.Add(step) {
		s := farm.Sample{At: t, Min: math.Inf(1), Max: math.Inf(-1), N: int64(step / (10 * time.Minute))}
		for i := range 8 {
			v := at(t.Add(step * time.Duration(i) / 8))
			s.Min, s.Max, s.Mean = min(s.Min, v), max(s.Max, v), s.Mean+v/8
		}
		if d := noon.Sub(t); d > 30*time.Hour && d < 33*time.Hour && step < 2*time.Hour {
			continue // the broker was away
		}
		out = append(out, s)
	}
	return out
}

// Last is the place of the newest event.
func (f *fake) Last(context.Context) (int64, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return int64(len(f.acts)) + 1, nil
}

// already is what the journal says of a form.
func (f *fake) already(e farm.Event) error {
	for i, a := range f.acts {
		own := e.Once != "" && a.Once == e.Once
		if own || e.Since > 0 && int64(i)+1 >= e.Since && a.Jot.Bin == e.Jot.Bin && a.Jot.Zone == e.Jot.Zone && a.Jot.What == e.Jot.What {
			return &farm.Already{Event: a, Own: own}
		}
	}
	return nil
}

// Struck knows one that was a slip.
func (f *fake) Struck(_ context.Context, bin string, from, _ time.Time) ([]farm.Strike, error) {
	at := ago(30 * time.Hour)
	if f.broken != nil || bin != "bed" || at.Before(from) {
		return nil, f.broken
	}
	return []farm.Strike{{Line: 16, By: "Ann", At: ago(29 * time.Hour), Jot: farm.Jot{ID: 16, At: at, Bin: "bed", Zone: "near", What: farm.Fed, Kg: 20, Of: "grain", By: "Bo"}}}, nil
}

// Line knows one line.
func (f *fake) Line(_ context.Context, id int64) (farm.Jot, error) {
	if id != 17 {
		return farm.Jot{}, errors.New("no line")
	}
	return farm.Jot{ID: 17, At: ago(40 * time.Hour), Bin: "bed", Zone: "near", What: farm.Watered, Litres: 2}, nil
}

func (f *fake) LastLines(context.Context, int) ([]farm.Jot, error) {
	return f.lately, f.broken
}

func (f *fake) Jots(_ context.Context, bin string, from, _ time.Time) ([]farm.Jot, error) {
	if f.broken != nil {
		return nil, f.broken
	}
	all := []farm.Jot{
		{At: ago(60 * day), Bin: "bed", What: farm.Stocked, Kg: 1, Of: "red"},
		{At: ago(12 * day), Bin: "bed", Zone: "far", What: farm.Sifted, Litres: 8, To: "crate"},
		{At: ago(9 * day), Bin: "bed", What: farm.Turned},
		{ID: 17, At: ago(40 * time.Hour), Bin: "bed", Zone: "near", What: farm.Watered, Litres: 2},
		{At: ago(30 * time.Hour), Bin: "bed", Zone: "near", What: farm.Fed, Kg: 2, Of: "grain"},
		{At: ago(6 * day), Bin: "cabinet", What: farm.Fed, Kg: 0.4, Of: "<b>mash</b>"},
	}
	var out []farm.Jot
	for _, j := range all {
		if j.Bin == bin && !j.At.Before(from) {
			out = append(out, j)
		}
	}
	return out, nil
}

func (f *fake) Changes(_ context.Context, bin string, from, _ time.Time) ([]farm.Change, error) {
	if f.broken != nil {
		return nil, f.broken
	}
	all := []farm.Change{
		{At: ago(26 * day), Bin: "bed", Zone: "near", Condition: farm.TooDry, Change: farm.Raised, Urgency: farm.Today, Episode: "e0", Text: "Bed, near is too dry at 67 %."},
		{At: ago(25 * day), Bin: "bed", Zone: "near", Condition: farm.TooDry, Change: farm.Eased, Urgency: farm.Today, Episode: "e0", Text: "Bed, near is no longer too dry: 71 % now, after a day."},
		{At: ago(8 * time.Hour), Bin: "bed", Zone: "near", Condition: farm.Heating, Change: farm.Raised, Urgency: farm.Today, Episode: "e1", Text: "Bed, near is heating by itself: 29 °C."},
		{At: ago(3 * time.Hour), Bin: "bed", Zone: "near", Condition: farm.Heating, Change: farm.Worsened, Urgency: farm.Now, Episode: "e1", Text: "Bed, near: 32 °C within 3 hours."},
		{At: ago(5 * time.Hour), Bin: "bed", Zone: "far", Condition: farm.SiftReady, Change: farm.Raised, Urgency: farm.Today, Episode: "e2", Text: "Bed, far is fit to sift at 44 %."},
	}
	var out []farm.Change
	for _, c := range all {
		if c.Bin == bin && !c.At.Before(from) {
			out = append(out, c)
		}
	}
	return out, nil
}

var errBroken = errors.New("disk I/O error at /var/lib/secret-path")

// newPage makes the page of a fake.
func newPage(t testing.TB, cfg page.Config) *page.Page {
	t.Helper()
	p, err := page.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// host is what a request in these tests asks for.
const host = "127.0.0.1:8338"

func request(method, target string, form url.Values) *http.Request {
	var r *http.Request
	if method == http.MethodPost {
		r = httptest.NewRequest(method, target, strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	} else {
		r = httptest.NewRequest(method, target, nil)
	}
	r.Host = host
	return r
}

func serve(h http.Handler, r *http.Request) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func get(h http.Handler, target string) *httptest.ResponseRecorder {
	return serve(h, request(http.MethodGet, target, nil))
}

func post(h http.Handler, target string, form url.Values) *httptest.ResponseRecorder {
	return serve(h, request(http.MethodPost, target, form))
}
