package page

import (
	"crypto/rand"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"net/url"
	"path"
	"regexp"
	"strings"

	"binwatchd/internal/farm"
)

//go:embed templates static
var embedded embed.FS

// A staticFile is a file that the templates refer to.
type staticFile struct {
	body []byte
	kind string
	mark string // of the content, for an address that may be kept for ever
}

// kinds is ours, so that no machine's own table decides what a file is.
var kinds = map[string]string{
	".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8",
	".svg": "image/svg+xml", ".txt": "text/plain; charset=utf-8",
	".png": "image/png", ".webmanifest": "application/manifest+json",
}

// functions are what the templates say beside the methods of what they are given.
var functions = template.FuncMap{
	"address": address, "anchor": anchor, "binURL": binURL, "probeURL": probeURL, "once": rand.Text,
	"capital": farm.Capital, "number": number,
	"aim":   func(a farm.Aim) string { return aimWords[a] },
	"words": func(name string) string { return strings.ReplaceAll(name, "_", " ") },
}

// readFiles reads what is built in. Each page has a set of templates of its own, so
// that all may call their part "main". What is wrong here is a broken build, found
// by the first test.
func (p *Page) readFiles() {
	p.templates, p.static = map[string]*template.Template{}, map[string]staticFile{}
	base := template.New("").Funcs(functions)
	base = template.Must(base.ParseFS(embedded, "templates/layout.html", "templates/parts.html", "templates/sprite.html"))
	for _, name := range []string{"front", "bin", "rounds", "ahead", "probes", "probe", "reliability", "jot", "already", "hush", "login", "act", "refusal"} {
		p.templates[name] = template.Must(template.Must(base.Clone()).ParseFS(embedded, "templates/"+name+".html"))
	}
	for _, name := range []string{"page.css", "page.js", "kept.js", "worker.js", "mark.svg", "api.txt", "app.webmanifest", "touch.png", "icon-192.png", "icon-512.png"} {
		body, err := fs.ReadFile(embedded, "static/"+name)
		if err != nil {
			panic("page: its own files: " + err.Error())
		}
		sum := sha256.Sum256(body)
		p.static[name] = staticFile{body, kinds[path.Ext(name)], hex.EncodeToString(sum[:6])}
	}
}

// Static is the address of a file of ours, its content's mark included.
func (v *visit) Static(name string) string {
	return "/static/" + name + "?v=" + v.static[name].mark
}

// sendStatic sends a file of ours. With its mark in the address it may be
// kept for a year; a new build has new marks.
func (v *visit) sendStatic() error {
	f, ok := v.static[v.r.PathValue("file")]
	if !ok {
		return v.notHere()
	}
	if v.r.PathValue("file") == "worker.js" {
		v.w.Header().Set("Service-Worker-Allowed", "/") // it answers for all pages, not for its own folder
	}
	tag := `W/"` + f.mark + `"` // weak, for it goes out compressed and not (RFC 9110, section 8.8.1)
	v.w.Header().Set("ETag", tag)
	if v.r.URL.Query().Get("v") == f.mark {
		v.w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	if v.r.Header.Get("If-None-Match") == tag {
		v.send(http.StatusNotModified, f.kind, nil)
		return nil
	}
	v.send(http.StatusOK, f.kind, f.body)
	return nil
}

// address makes an address of ours from the names and values after the question
// mark; what is empty is left out.
func address(page string, pairs ...any) string {
	q := url.Values{}
	for i := 0; i < len(pairs); i += 2 {
		if value := fmt.Sprint(pairs[i+1]); value != "" {
			q.Set(fmt.Sprint(pairs[i]), value)
		}
	}
	return page + "?" + q.Encode()
}

func binURL(name string) string { return "/bins/" + url.PathEscape(name) }

func probeURL(id string) string { return "/probes/" + url.PathEscape(id) }

var notInAnchor = regexp.MustCompile("[^-.0-9a-zA-Z]")

// anchor is a zone's place on the page. Names may hold anything, so what is
// not a letter or digit is written as its code.
func anchor(bin, zone string) string {
	return "z-" + notInAnchor.ReplaceAllStringFunc(bin+"."+zone, func(r string) string { return fmt.Sprintf("_%x", []rune(r)[0]) })
}
