package control_test

import (
	"context"
	"io"
	"net/http/httptest"
	"strings"
	"testing"

	"binwatchd/internal/control"
	"binwatchd/internal/farm"
)

// A porch is a daemon that counts what comes through.
type porch struct {
	acts []farm.Event
}

func (p *porch) Look(context.Context, bool) (farm.View, error) {
	return farm.View{Farm: "Hillfoot Nursery"}, nil
}

func (p *porch) Act(_ context.Context, all ...farm.Event) error {
	p.acts = append(p.acts, all...)
	return nil
}

func (p *porch) Copy(context.Context, io.Writer) error { return control.ErrInPlace }

// FuzzRequests sends whatever comes to the socket. What is refused has done
// nothing, and says why in words; what is done is done once.
func FuzzRequests(f *testing.F) {
	for _, s := range []struct{ method, path, body string }{
		{"GET", "/view", ""}, {"POST", "/view", ""}, {"GET", "/act", ""}, {"PUT", "/", "x"}, {"POST", "//act", "{}"},
		{"POST", "/act", `{"jot":{"bin":"bed","what":"fed","kg":2,"of":"grain","at":"2026-05-01T08:30:00Z"}}`},
		{"POST", "/act", `{"hushes":[{"bin":"bed","until":"2026-05-01T10:30:00Z"}]}`}, {"POST", "/act", `{"seen":[{"episode":"too-dry-bed"}]}`},
		{"POST", "/act", `{"jot":null}`}, {"POST", "/act", `{"jot":{},"seen":[]}`}, {"POST", "/act", `{"jut":{}}`}, {"POST", "/act", `{"seen":[]} {"seen":[]}`},
		{"POST", "/act", `{"jot":{"kg":1e999}}`}, {"POST", "/act", strings.Repeat("[", 1000)},
	} {
		f.Add(s.method, s.path, s.body)
	}
	f.Fuzz(func(t *testing.T, method, path, body string) {
		p := &porch{}
		r := httptest.NewRequest("GET", "http://daemon/", strings.NewReader(body))
		r.Method, r.URL.Path = method, path
		w := httptest.NewRecorder()
		control.Handler(p).ServeHTTP(w, r)
		done := len(p.acts)
		switch {
		case w.Code == 204 && done == 1:
		case w.Code == 204 && r.URL.Path == "/copy" && done == 0: // the journal is in its place
		case w.Code == 200 && done == 0 && strings.Contains(w.Body.String(), "Hillfoot Nursery"):
		case w.Code/100 == 3 && done == 0: // to a path without detours
		case w.Code/100 == 4 && done == 0 && (w.Body.Len() > 0 || method == "HEAD"):
		default:
			t.Errorf("%s %s: answered %d %q, and did %d things", method, path, w.Code, w.Body, done)
		}
	})
}
