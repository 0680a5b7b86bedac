package page

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// A visit is one request and what its answer is made of: all parts of one look at
// the farm, and what every page has around its own part. The exported fields and
// methods are for the templates.
type visit struct {
	*Page
	w     http.ResponseWriter
	r     *http.Request
	in    fields // of its form or its address, for an action that asks for them
	now   time.Time
	loc   *time.Location
	units farm.Units
	who   string // whose login it is, or as they called themselves at it

	// Of an action that looks.
	span     span      // of the pictures
	drawn    time.Time // now, in them
	raised   []raisedView
	raisedIn map[farm.Place][]raisedView

	Farm  *farm.Farm
	View  farm.View // for an action that looks
	Back  string    // where the forms lead back to
	Since int64     // the journal's last place when a list was made; 0: on no list
	Torn  bool      // some curve could not be read
	Home  bool      // the visitor is inside and can be shown the way about
	Title string
	Nav   string // which of the four main pages this is
	Clock string // as of when
	Live  int    // milliseconds between looks; 0 leaves the page alone
}

// An action answers a request or says why it does not. It must not have
// written anything when it returns an error.
type action func(v *visit) error

// answer makes a handler of an action: a refusal is shown with its sentence,
// any other error is logged and shown as a trouble of ours.
func (p *Page) answer(do action) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		f := p.cfg.Farm()
		v := &visit{Page: p, w: w, r: r, now: p.cfg.Now(), loc: f.Location, units: f.Units, Farm: f, Title: "Log in"}
		if v.loc == nil {
			v.loc = time.UTC
		}
		if err := do(v); err != nil {
			v.showRefusal(err)
		}
	})
}

// asks makes an action of one that wants the fields of its form, or those of its
// address.
func asks(do action) action {
	return func(v *visit) (err error) {
		if v.in, err = v.read(); err != nil {
			return err
		}
		return do(v)
	}
}

// writes tells whether the request wants more than to read.
func (v *visit) writes() bool { return v.r.Method != http.MethodGet && v.r.Method != http.MethodHead }

// drawnSteps are how many moments a picture knows: as many as a phone has px, so that
// it does not change with every minute.
const drawnSteps = 360

// look takes the one look at the farm that the answer is made of.
func (v *visit) look(sp span, back string) error {
	view, ok := v.cfg.Look()
	if !ok {
		return v.notYet()
	}
	v.inside()
	v.View, v.span, v.Back = view, sp, back
	v.drawn = v.now.Truncate((sp.back + sp.ahead) / drawnSteps)
	v.raisedIn = map[farm.Place][]raisedView{}
	for _, standing := range view.Standing {
		r := v.viewOf(standing)
		v.raised = append(v.raised, r)
		v.raisedIn[r.Where] = append(v.raisedIn[r.Where], r)
	}
	return nil
}

// titled begins a page for somebody inside. nav is the main page that it belongs to.
func (v *visit) titled(nav, title string) {
	v.Home, v.Nav, v.Title, v.Clock = true, nav, title, v.clock(v.now)
}

// torn tells the log and the page that a part of the history can't be read.
func (v *visit) torn(err error, what string, about ...any) {
	if err != nil {
		v.cfg.Log.Error(what, append(about, "error", err)...)
		v.Torn = true
	}
}

// live makes a page look again by itself.
func (v *visit) live() { v.Live = int(v.cfg.Refresh.Milliseconds()) }

// LiveSeconds is Live where only whole seconds will do.
func (v *visit) LiveSeconds() int { return max(v.Live/1000, 1) }

// Leave tells whether there is a session to end.
func (v *visit) Leave() bool { return v.locked() }

// Timezone is the farm's, for times the script says.
func (v *visit) Timezone() string { return v.loc.String() }

// show fills a page's template and sends it. Nothing is sent before the whole
// page is ready, so an error can still be answered as one.
func (v *visit) show(status int, name string, data any) error {
	var b bytes.Buffer
	if err := v.templates[name].ExecuteTemplate(&b, "layout", data); err != nil {
		return fmt.Errorf("fill page %s: %w", name, err)
	}
	v.sendPage(status, b.Bytes())
	return nil
}

// showJSON answers a program, likewise.
func (v *visit) showJSON(status int, data any) error {
	b, err := json.MarshalIndent(data, "", "  ")
	if err != nil {
		return fmt.Errorf("write the answer as JSON: %w", err)
	}
	v.send(status, "application/json", append(b, '\n'))
	return nil
}

func (v *visit) send(status int, kind string, body []byte) {
	v.w.Header().Set("Content-Type", kind)
	v.w.WriteHeader(status)
	_, _ = v.w.Write(body) // the visitor has gone: nobody is left to tell
}

func (v *visit) redirect(to string) error {
	http.Redirect(v.w, v.r, to, http.StatusSeeOther)
	return nil
}

// A refusal is an error with a sentence for the person who asked.
type refusal struct {
	status   int
	sentence string
	wait     time.Duration // when to come again; 0 says nothing of it
}

func (r *refusal) Error() string { return r.sentence }

func refuse(status int, format string, args ...any) error {
	return &refusal{status: status, sentence: fmt.Sprintf(format, args...)}
}

func badInput(format string, args ...any) error {
	return refuse(http.StatusBadRequest, format, args...)
}

// notYet says that there is nothing to show for now.
func (p *Page) notYet() error {
	return &refusal{status: http.StatusServiceUnavailable, wait: p.cfg.Refresh,
		sentence: "Nothing has been judged yet: the first readings are still on their way. Look again in a minute."}
}

func (v *visit) showRefusal(err error) {
	var no *refusal
	if !errors.As(err, &no) {
		v.cfg.Log.Error("page request", "path", shownPath(v.r), "error", err)
		no = &refusal{status: http.StatusInternalServerError,
			sentence: "Something went wrong here. It has been noted in the daemon's log; trying again does no harm."}
	}
	if no.wait > 0 {
		v.w.Header().Set("Retry-After", strconv.Itoa(int(math.Ceil(no.wait.Seconds()))))
	}
	if v.forProgram() {
		err = v.showJSON(no.status, map[string]string{"error": no.sentence})
	} else {
		titles := map[int]string{http.StatusNotFound: "Not here", http.StatusServiceUnavailable: "Not now"}
		v.titled("", cmp.Or(titles[no.status], "Not done"))
		v.Home, v.Live = v.inside(), 0
		err = v.show(no.status, "refusal", struct {
			*visit
			Sentence string
		}{v, no.sentence})
	}
	if err != nil {
		http.Error(v.w, no.sentence, no.status)
	}
}

// forProgram tells whether a program asks, which wants no page.
func (v *visit) forProgram() bool {
	return v.r.Header.Get("Accept") == "application/json" || v.r.URL.Path == "/api" || strings.HasPrefix(v.r.URL.Path, "/api/")
}

// clip shortens a stranger's text to n bytes or fewer, for showing it back.
func clip(s string, n int) string {
	if len(s) <= n {
		return s
	}
	return strings.ToValidUTF8(s[:n], "") + "…"
}
