package page_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/page"
	"binwatchd/internal/page/auth"
)

const token = "0123456789abcdefghijkl"

// peopled is a page that Mara and Jo come into by passwords of their own.
func peopled(t *testing.T) (*fake, *page.Page, []auth.Person) {
	t.Helper()
	f := newFake()
	own := *f.farm
	own.People = []farm.Person{{Name: "mara"}, {Name: "jo"}, {Name: "helper"}}
	f.farm = &own
	cfg := f.config()
	cfg.People = []auth.Person{{Name: "mara", Password: "leaf mould", Token: token}, {Name: "jo", Password: "bark"}, {Name: "helper"}}
	return f, newPage(t, cfg), cfg.People
}

// login gives the session of somebody who comes in.
func login(t *testing.T, p http.Handler, who, password string) *http.Cookie {
	t.Helper()
	c := session(post(p, "/login", form("who", who, "password", password)))
	if c == nil {
		t.Fatalf("%s is not let in", who)
	}
	return c
}

// What people do on the page is by them, whatever the form says: seen, hushed, written and struck.
func TestWhoDidIt(t *testing.T) {
	f, p, _ := peopled(t)
	mara := login(t, p, "Mara", "leaf mould")
	for _, done := range []struct {
		path string
		form []string
		by   string
	}{
		{"/jot", []string{"bin", "bed", "what", "turned"}, "mara"},
		{"/jot", []string{"bin", "bed", "what", "turned", "by", "MARA"}, "mara"},
		{"/jot", []string{"bin", "bed", "what", "turned", "by", "jo"}, "jo, sent by mara"},
		{"/jot", []string{"bin", "bed", "what", "turned", "by", "somebody who has left"}, "somebody who has left"},
		{"/jot", []string{"text", "turned bed"}, "mara"},
		{"/hush", []string{"bin", "bed", "for", "2h"}, "mara"},
		{"/seen", []string{"id", f.view.Standing[0].Episode}, "mara"},
	} {
		r := request(http.MethodPost, done.path, form(append(done.form, "back", "/")...))
		if w := with(p, mara, r); w.Code != http.StatusSeeOther {
			t.Fatalf("%s %v: status %d", done.path, done.form, w.Code)
		}
		e := f.done()[len(f.done())-1]
		if got := e.Jot.By + e.Hush.By + e.Seen.By; got != done.by {
			t.Errorf("%s %v: by %q, want %q", done.path, done.form, got, done.by)
		}
	}
}

// A name that there is not, and one whose password is another, are answered alike.
func TestNoNameIsGivenAway(t *testing.T) {
	_, p, _ := peopled(t)
	answers := map[string]bool{}
	for _, who := range []string{"mara", "nobody", "helper", ""} {
		w := post(p, "/login", form("who", who, "password", "guess"))
		if w.Code != http.StatusUnauthorized || session(w) != nil {
			t.Errorf("%q: status %d", who, w.Code)
		}
		wantAll(t, w.Body.String(), "That name and that password do not belong together.")
		wantNone(t, w.Body.String(), "mara", "helper", "Hillfoot")
		answers[w.Body.String()] = true
	}
	if len(answers) != 1 {
		t.Errorf("%d different answers", len(answers))
	}
}

func TestPeopleChange(t *testing.T) {
	_, p, people := peopled(t)
	mara, jo := login(t, p, "mara", "leaf mould"), login(t, p, "jo", "bark")
	people[1].Password = "another bark"
	if err := p.Admit(people); err != nil {
		t.Fatal(err)
	}
	look := func(c *http.Cookie) int { return with(p, c, request(http.MethodGet, "/", nil)).Code }
	if look(mara) != http.StatusOK || look(jo) != http.StatusSeeOther {
		t.Errorf("mara %d, jo %d, want jo alone outside", look(mara), look(jo))
	}
	people[1].Password = "bark"
	if err := p.Admit(people); err != nil {
		t.Fatal(err)
	}
	if look(jo) != http.StatusSeeOther {
		t.Error("a session that has ended begins anew")
	}
	if err := p.Admit([]auth.Person{{Name: "mara", Password: "$torn"}}); err == nil || look(mara) != http.StatusOK {
		t.Errorf("got %v; what is no good changes nothing", err)
	}
}

// A program shows a token in the header of its request, and nowhere else.
func TestAToken(t *testing.T) {
	f, p, _ := peopled(t)
	ask := func(bearer, target string) int {
		r := request(http.MethodGet, target, nil)
		if bearer != "" {
			r.Header.Set("Authorization", bearer)
		}
		return serve(p, r).Code
	}
	for _, tt := range []struct {
		bearer, target string
		want           int
	}{
		{"Bearer " + token, "/api/now", http.StatusOK},
		{"Bearer " + strings.ToUpper(token), "/api/now", http.StatusUnauthorized},
		{"Bearer ", "/api/now", http.StatusUnauthorized},
		{"Basic " + token, "/api/now", http.StatusUnauthorized},
		{"", "/api/now?token=" + token, http.StatusUnauthorized},
		{"", "/api/now?access_token=" + token, http.StatusUnauthorized},
	} {
		if got := ask(tt.bearer, tt.target); got != tt.want {
			t.Errorf("%s with %q: status %d, want %d", tt.target, tt.bearer, got, tt.want)
		}
	}
	r := request(http.MethodPost, "/jot", form("bin", "bed", "what", "turned"))
	r.Header.Set("Authorization", "Bearer "+token)
	if serve(p, r); len(f.done()) != 1 || f.done()[0].Jot.By != "mara" {
		t.Errorf("did %+v", f.done())
	}
	wantNone(t, f.log(), token)
}

// Who is known by name may take a condition on, and give it back; others see who has.
func TestTakingACondition(t *testing.T) {
	f, p, _ := peopled(t)
	mara, jo := login(t, p, "mara", "leaf mould"), login(t, p, "jo", "bark")
	id := f.view.Standing[0].Episode
	take := func(c *http.Cookie, until string) (int, farm.Seen) {
		w := with(p, c, request(http.MethodPost, "/seen", form("id", id, "until", until)))
		if n := len(f.done()); n > 0 {
			return w.Code, f.done()[n-1].Seen
		}
		return w.Code, farm.Seen{}
	}
	if code, got := take(mara, "tonight"); code != http.StatusSeeOther || got.By != "mara" || !got.Until.Equal(noon.Truncate(day).Add(20*time.Hour)) {
		t.Errorf("status %d, %+v", code, got)
	}
	until := noon.Add(9 * time.Hour)
	st := &f.view.Standing[0]
	st.Seen, st.Known, st.KnownBy, st.Taken = true, "Mara looks after it until 21:00", "mara", &until
	care := &f.rounds.Care[0]
	care.Episode, care.Seen, care.Known, care.KnownBy, care.Taken = id, true, st.Known, st.KnownBy, st.Taken
	for _, page := range []string{"/", "/rounds"} {
		look := func(c *http.Cookie) string { return with(p, c, request(http.MethodGet, page, nil)).Body.String() }
		wantAll(t, look(mara), "Mara looks after it until 21:00", ">Give it back</button>")
		wantAll(t, look(jo), "Mara looks after it until 21:00", ">I look after it until tonight</button>")
		wantNone(t, look(jo), ">Give it back</button>")
	}
	if code, got := take(mara, "now"); code != http.StatusSeeOther || !got.Until.Equal(noon) {
		t.Errorf("given back: status %d, %+v", code, got)
	}
	if code, _ := take(mara, "some day"); code != http.StatusBadRequest {
		t.Errorf("until some day: status %d", code)
	}
	open := newFake()
	wantNone(t, get(newPage(t, open.config()), "/").Body.String(), "I look after it")
	if w := post(newPage(t, open.config()), "/seen", form("id", id, "until", "tonight")); w.Code != http.StatusForbidden {
		t.Errorf("somebody without a name: status %d", w.Code)
	}
}

// The rounds show the part of who is logged in, another's or all where that is asked for, and
// who has written down what meanwhile.
func TestRoundsOfOne(t *testing.T) {
	f, p, _ := peopled(t)
	f.farm.People = []farm.Person{{Name: "mara", Places: []string{"glasshouse"}}, {Name: "jo", Places: []string{"shed"}}, {Name: "helper"}}
	f.lately = []farm.Jot{
		{At: noon.Add(-time.Minute), Bin: "bed", Zone: "near", What: farm.Watered, Litres: 2, By: "jo"},
		{At: noon.Add(-time.Hour), Bin: "crate", What: farm.Turned, By: "mqtt"},
		{At: noon.Add(-13 * time.Hour), Bin: "bed", What: farm.Bedded, By: "jo"},
	}
	mara := login(t, p, "mara", "leaf mould")
	look := func(path string) string { return with(p, mara, request(http.MethodGet, path, nil)).Body.String() }
	for path, tt := range map[string]struct{ whose, here string }{
		"/rounds":           {"mara", `<a href="/rounds" aria-current="true">Yours</a>`},
		"/rounds?of=JO":     {"jo", `<a href="/rounds?of=jo" aria-current="true">Jo</a>`},
		"/rounds?of=all":    {"", `<a href="/rounds?of=all" aria-current="true">All</a>`},
		"/rounds?of=nobody": {"", `<a href="/rounds?of=all" aria-current="true">All</a>`},
	} {
		body := look(path)
		wantAll(t, body, tt.here, `<h2>Written down lately</h2>`, ", Jo: Bed, near watered ", ": Crate turned</li>", `href="/rounds"`)
		wantNone(t, body, "Bed bedded", ">Helper</a>")
		if f.whose != tt.whose {
			t.Errorf("%s: asked for the part of %q, want %q", path, f.whose, tt.whose)
		}
	}
	wantAll(t, look("/rounds?of=jo"), `name="back" value="/rounds?of=jo"`)
	if code := with(p, mara, request(http.MethodGet, "/api/rounds?of=nobody", nil)).Code; code != http.StatusNotFound {
		t.Errorf("status %d", code)
	}
	if look("/api/rounds?of=jo"); f.whose != "jo" {
		t.Errorf("the API gives the part of %q", f.whose)
	}
	open := newFake()
	open.lately = f.lately
	wantNone(t, get(newPage(t, open.config()), "/rounds").Body.String(), "Whose rounds", "Written down lately")
}
