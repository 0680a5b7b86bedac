// Package page is the keeper's page for the phone in the shed: how every bin
// stands, what to do on today's round, the logbook, the probes, and the same
// as JSON. Pages come ready from the server and work without scripts; a small
// script reads values off a curve and refreshes what has changed.
//
// It reads the farm through functions handed to it and writes only by handing
// events to Act: it judges nothing, stores nothing but sessions, and never
// opens a listener. Whether the address is fit for it is for [Check] to say,
// TLS is the caller's. No request can make it fetch anything from elsewhere,
// and nothing a stranger sends is shown but as text. cmd wires it; its
// pictures are package chart's, its login package auth's.
//
// Where there is no network static/worker.js keeps the rounds on the phone, and sends what
// was ticked later; static/kept.js says so on the page.
//
// Read page.go for the routes, turns.go for how many readers are answered at a time,
// middleware.go for what every request passes,
// visit.go for what one is answered with, live.go for how a page left open follows,
// templates.go and form.go for what goes out and comes in; then front.go, zone.go and
// gauge.go for the first page, many.go for the rows of a large farm, and the others for the
// page they are named after.
package page

import (
	"cmp"
	"context"
	"fmt"
	"html/template"
	"log/slog"
	"net/http"
	"sync/atomic"
	"time"

	"github.com/klauspost/compress/gzhttp"
	"github.com/klauspost/compress/gzip"

	"binwatchd/internal/farm"
	"binwatchd/internal/page/auth"
	"binwatchd/internal/reliability"
)

// Config is what a page needs. All functions must be safe for concurrent use. What Look
// and the others give may be shared with others: the page changes none of it.
type Config struct {
	Farm    func() *farm.Farm                         // the configuration in force; never changed by the page
	Look    func() (v farm.View, ok bool)             // how the farm stands; ok is false before anything was judged
	Rounds  func(who string) (r farm.Rounds, ok bool) // today's care list, of one person's part or "" of all; likewise
	History History                                   // what the journal kept
	Letters Letters                                   // what the buttons of mails carry; nil: they have none
	// Reliability is how reliable each probe was over 30 days, the least first; it may take seconds. Nil: it is not shown.
	Reliability func(ctx context.Context) ([]reliability.Probe, error)
	Act         func(ctx context.Context, all ...farm.Event) error // takes jots, a hush or a seen; returns once they are kept
	Ahead       func() (farm.Ahead, bool)                          // what comes; nil: there is no such page
	Calendar    func() ([]byte, bool)                              // the same for a calendar
	CalendarKey func() string                                      // what its address ends with; "" or nil: there is none
	Password    string                                             // text of the password file: a hash or a plain password; "" leaves the page open, but for people's own
	People      []auth.Person                                      // who may come in under names of their own
	TLS         bool                                               // served over TLS: cookies are held to it
	Refresh     time.Duration                                      // how often a page left open looks again; 0 is a minute
	AtOnce      int                                                // how many pages are drawn at a time; 0 is half of the processors
	Now         func() time.Time
	Log         *slog.Logger
}

// History is what the journal kept, in order of time.
//
// Samples are folded as coarsely as step allows: one for each step in which
// anything was believed, from the first stretch beginning at or after from to the
// last one beginning before to. A zone of "" is the air of the room around the bin.
// What is sifted from one bin into another is told of the first.
type History interface {
	Samples(ctx context.Context, bin, zone string, q farm.Quantity, from, to time.Time, step time.Duration) ([]farm.Sample, error)
	ProbeSamples(ctx context.Context, probe string, from, to time.Time, step time.Duration) ([]farm.Sample, error)
	Jots(ctx context.Context, bin string, from, to time.Time) ([]farm.Jot, error)
	// Struck gives the lines that were struck, likewise.
	Struck(ctx context.Context, bin string, from, to time.Time) ([]farm.Strike, error)
	// Line gives one line of the logbook by its ID.
	Line(ctx context.Context, id int64) (farm.Jot, error)
	// LastLines gives those that were written last, of the whole farm, the newest first.
	LastLines(ctx context.Context, most int) ([]farm.Jot, error)
	// Last is the place in the journal of the newest event.
	Last(ctx context.Context) (int64, error)
	Changes(ctx context.Context, bin string, from, to time.Time) ([]farm.Change, error)
	// BinCalled gives the name of now of the bin that was last called so; "" where none was.
	BinCalled(ctx context.Context, name string) (string, error)
}

// Check tells whether a page may be served at listen, an address like
// "127.0.0.1:8338": beyond loopback only with a password.
func Check(listen string, hasPassword bool) error { return auth.Check(listen, hasPassword) }

// CheckPassword tells why a page would not take a password, or the hash of one;
// "" is none.
func CheckPassword(password string) error {
	if password == "" {
		return nil
	}
	_, err := auth.ParsePassword(password)
	return err
}

// A Page serves the keeper's page.
type Page struct {
	cfg       Config
	password  auth.Password
	entry     atomic.Pointer[auth.Door] // who may come in now
	sessions  auth.Sessions
	tries     auth.Tries
	hashing   chan struct{}                 // one password is weighed at a time: it takes memory
	templates map[string]*template.Template // one set a page
	static    map[string]staticFile
	curves    curveCache

	compressed func(http.Handler) http.HandlerFunc
	handler    http.Handler
}

// New makes a page. It fails only when the password cannot be read; the error
// does not quote it.
func New(cfg Config) (*Page, error) {
	cfg.Refresh, cfg.AtOnce = cmp.Or(cfg.Refresh, time.Minute), cmp.Or(cfg.AtOnce, atOnce())
	p := &Page{cfg: cfg, hashing: make(chan struct{}, 1)}
	p.readFiles()
	var err error
	// Gzip at its fastest: a page is written anew for each look, by a small machine.
	if p.compressed, err = gzhttp.NewWrapper(gzhttp.CompressionLevel(gzip.BestSpeed), gzhttp.EnableZstd(false)); err != nil {
		return nil, fmt.Errorf("set up compression: %w", err)
	}
	if cfg.Password != "" {
		if p.password, err = auth.ParsePassword(cfg.Password); err != nil {
			return nil, err
		}
		if p.cfg.Password = ""; p.password.Plain() {
			cfg.Log.Warn("page password is kept as plain text", "hint", "an argon2id or bcrypt hash does as well")
		}
	}
	p.handler = p.inTurn(p.guarded(p.routes()))
	return p, p.Admit(cfg.People)
}

// Admit changes who may come in under names of their own. Who is no longer among them, or has
// another password, is asked for it at the next page.
func (p *Page) Admit(people []auth.Person) error {
	door, err := auth.NewDoor(p.password, people)
	if err == nil {
		p.entry.Store(door)
	}
	return err
}

// locked tells whether there is a password.
func (p *Page) locked() bool { return p.entry.Load().Locked() }

// ServeHTTP answers a request.
func (p *Page) ServeHTTP(w http.ResponseWriter, r *http.Request) { p.handler.ServeHTTP(w, r) }

// Guard puts h, another handler of the same listener, behind the page's login.
func (p *Page) Guard(h http.Handler) http.Handler { return p.guarded(p.known(h)) }

// routes is the page's map. What stands under open needs no session.
func (p *Page) routes() http.Handler {
	open, inside := http.NewServeMux(), http.NewServeMux()
	open.Handle("GET /static/{file}", p.answer((*visit).sendStatic))
	open.Handle("GET /login", p.answer((*visit).showLogin))
	open.Handle("POST /login", p.answer(asks((*visit).login)))
	open.Handle("GET "+calendarPath+"{key}", p.answer((*visit).sendCalendar))
	if p.cfg.Letters != nil {
		open.Handle("GET /act", p.answer(asks((*visit).showMailAct)))
		open.Handle("POST /act", p.answer(asks((*visit).mailAct)))
	}
	open.Handle("/", p.known(inside))
	for pattern, do := range map[string]action{
		"GET /{$}":            asks((*visit).showFront),
		"GET /bins/{bin}":     asks((*visit).showBin),
		"GET /rounds":         asks((*visit).showRounds),
		"GET /ahead":          (*visit).showAhead,
		"GET /probes":         asks((*visit).showProbes),
		"GET /reliability":    (*visit).showReliability,
		"GET /probes/{probe}": asks((*visit).showProbe),
		"GET /jot":            asks((*visit).showJot),
		"POST /jot":           asks((*visit).jot),
		"GET /jot/{line}":     asks((*visit).showLine),
		"GET /hush":           asks((*visit).showHush),
		"POST /hush":          asks((*visit).hush),
		"POST /seen":          asks((*visit).seen),
		"POST /logout":        (*visit).logout,
		"GET /api":            (*visit).apiHelp,
		"GET /api/now":        tells(p.cfg.Look),
		"GET /api/rounds":     asks((*visit).apiRounds),
		"GET /api/ahead":      tells(p.ahead),
		"GET /api/history":    asks((*visit).apiHistory),
		"/":                   (*visit).notHere,
	} {
		inside.Handle(pattern, p.answer(do))
	}
	return open
}

// notHere answers what no pattern takes, or takes with another method only.
func (v *visit) notHere() error {
	if v.writes() {
		return refuse(http.StatusMethodNotAllowed, "Nothing can be sent to %s.", clip(v.r.URL.Path, 80))
	}
	return refuse(http.StatusNotFound, "There is no page %s here.", clip(v.r.URL.Path, 80))
}
