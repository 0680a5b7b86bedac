package page

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"html/template"
	"net/http"
	"path"
)

//go:embed templates/*.html
var templateFiles embed.FS

//go:embed static
var staticFiles embed.FS

// files are the templates, one set a page, and the files they refer to.
type files struct {
	sets   map[string]*template.Template
	static map[string]staticFile
}

type staticFile struct {
	body []byte
	kind string
	mark string // of the content, for an address that may be kept for ever
}

// kinds is ours, so that no machine's own table decides what a file is.
var kinds = map[string]string{
	".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8",
	".svg": "image/svg+xml", ".txt": "text/plain; charset=utf-8",
}

var pageNames = []string{"front", "bin", "rounds", "probes", "probe", "jot", "hush", "login", "refusal"}

func readFiles() (f files, err error) {
	if f.sets, err = parseTemplates(); err != nil {
		return f, err
	}
	f.static, err = readStatic()
	return f, err
}

// parseTemplates gives each page a set of its own, so that all may call their
// part "main".
func parseTemplates() (map[string]*template.Template, error) {
	base, err := template.ParseFS(templateFiles, "templates/layout.html", "templates/parts.html", "templates/sprite.html")
	if err != nil {
		return nil, err
	}
	sets := make(map[string]*template.Template, len(pageNames))
	for _, name := range pageNames {
		set, err := base.Clone()
		if err != nil {
			return nil, err
		}
		if sets[name], err = set.ParseFS(templateFiles, "templates/"+name+".html"); err != nil {
			return nil, err
		}
	}
	return sets, nil
}

func readStatic() (map[string]staticFile, error) {
	entries, err := staticFiles.ReadDir("static")
	if err != nil {
		return nil, err
	}
	files := make(map[string]staticFile, len(entries))
	for _, e := range entries {
		body, err := staticFiles.ReadFile("static/" + e.Name())
		if err != nil {
			return nil, err
		}
		sum := sha256.Sum256(body)
		files[e.Name()] = staticFile{body: body, kind: kinds[path.Ext(e.Name())], mark: hex.EncodeToString(sum[:6])}
	}
	return files, nil
}

// show fills a page's template and sends it. Nothing is sent before the whole
// page is ready, so an error can still be answered as one.
func (p *Page) show(w http.ResponseWriter, status int, name string, data any) error {
	var b bytes.Buffer
	if err := p.files.sets[name].ExecuteTemplate(&b, "layout", data); err != nil {
		return fmt.Errorf("fill page %s: %w", name, err)
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes()) // the visitor has gone: nobody is left to tell
	return nil
}

// serveStatic sends a file of ours. With its mark in the address it may be
// kept for a year; a new build has new marks.
func (p *Page) serveStatic(w http.ResponseWriter, r *http.Request) error {
	f, ok := p.files.static[r.PathValue("file")]
	if !ok {
		return notHere(w, r)
	}
	head := w.Header()
	head.Set("Content-Type", f.kind)
	head.Set("ETag", `"`+f.mark+`"`)
	if r.URL.Query().Get("v") == f.mark {
		head.Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	if r.Header.Get("If-None-Match") == `"`+f.mark+`"` {
		w.WriteHeader(http.StatusNotModified)
		return nil
	}
	_, _ = w.Write(f.body)
	return nil
}

// writeJSON answers a program. Nothing is sent before the whole answer is
// ready, so an error can still be answered as one.
func writeJSON(w http.ResponseWriter, status int, v any) error {
	b, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return fmt.Errorf("write the answer as JSON: %w", err)
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(append(b, '\n')) // the asker has gone: nobody is left to tell
	return nil
}

// A shell is what every page has around its own part.
type shell struct {
	Title    string
	Farm     string
	Nav      string // which of the four main pages this is
	Clock    string // as of when
	Said     string // one sentence about what was just done
	Live     int    // milliseconds between looks; 0 leaves the page alone
	Timezone string // of the farm, for times the script says
	Leave    bool   // there is a session to end
	files    *files
}

// Static is the address of a file of ours, its content's mark included.
func (s shell) Static(name string) string {
	return "/static/" + name + "?v=" + s.files.static[name].mark
}

// Home tells whether the visitor is inside and can be shown the way about.
func (s shell) Home() bool { return s.Farm != "" }

// shell fills what is around a page, and takes the sentence left for it. nav is
// the main page that it belongs to.
func (p *Page) shell(w http.ResponseWriter, r *http.Request, nav, title string) shell {
	f := p.cfg.Farm()
	v := p.format(f)
	return shell{
		Title: title, Farm: f.Name, Nav: nav, Clock: v.clock(v.now), Said: p.said(w, r),
		Timezone: v.loc.String(), Leave: p.locked, files: &p.files,
	}
}

// live makes a page look again by itself.
func (p *Page) live(s shell) shell {
	s.Live = int(p.cfg.Refresh.Milliseconds())
	return s
}

// LiveSeconds is Live where only whole seconds will do.
func (s shell) LiveSeconds() int { return max(s.Live/1000, 1) }
