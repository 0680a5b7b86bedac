package main

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"log/slog"
	"maps"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/demo"
	"binwatchd/internal/proctest"
)

// README's pictures are of what a phone shows first, and small.
const (
	pictureWidth, pictureHeight = 390, 844 // CSS px
	pictureScale                = 2
	pictureBytes                = 150_000
)

// pictured is when the demo's nursery is shown: in the cold snap, minutes after it has
// become clear that the trough will be too cold for its worms before noon.
var pictured = time.Date(2027, time.May, 9, 7, 8, 0, 0, time.UTC)

// TestPictures takes the pictures of README, of the demo's own page and of the mail that
// it sends, and puts them into the folder PICTURES. A person looks at them; the test sees
// that the page and the mail come.
func TestPictures(t *testing.T) {
	folder := os.Getenv("PICTURES")
	if folder == "" {
		t.Skip("PICTURES=folder takes them")
	}
	t.Setenv("PICTURES_MAIL", mailPassword)
	box, listen, dir := startMailbox(t), proctest.FreeAddr(t), t.TempDir()
	sim := demo.New(demoSeed, pictured.Truncate(24*time.Hour).Add(-175*time.Hour))
	text := sim.YAML(demo.Places{Broker: "tcp://127.0.0.1:1883", Journal: filepath.Join(dir, "journal.db"), Listen: listen})
	text = strings.Replace(text, "page: {", `page: {address: "https://bins.example.org", `, 1) + // for the buttons of the mail
		fmt.Sprintf("mail: {server: %q, from: bins@example.org, user: %s, password: {env: PICTURES_MAIL}, security: offered}\n", box.addr, mailUser) +
		"tell: [{mail: keeper@example.org, about: [now]}]\n"
	cfg, err := config.Load(write(t, dir, "hillfoot.yaml", text), config.ForRun)
	if err != nil {
		t.Fatal(err)
	}
	cfg.Broker.URL, cfg.Broker.Listen = "", "127.0.0.1:0"
	c := newDemoClock(sim.Start())
	d := &daemon{log: slog.New(slog.DiscardHandler), clock: clockwork{now: c.now}}
	if err := d.open(t.Context(), cfg); err != nil {
		t.Fatal(err)
	}
	story := &account{out: io.Discard, loc: cfg.Farm.Location}
	if err := story.history(t.Context(), d, sim, c, pictured); err != nil {
		t.Fatal(errors.Join(err, d.close()))
	}
	c.set(func() time.Time { return pictured })
	serving, end := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() { served <- d.serve(serving) }()
	proctest.Eventually(t, "a mail comes", func() bool { return len(box.all()) > 0 })
	takePicture(t, "http://"+listen+"/", filepath.Join(folder, "phone.png"))
	takePicture(t, "file://"+write(t, dir, "mail.html", asRead(t, box.all()[0])), filepath.Join(folder, "mail.png"))
	end()
	if err := <-served; err != nil {
		t.Error(err)
	}
}

// takePicture takes a picture of what a phone shows first of an address.
func takePicture(t *testing.T, url, path string) {
	t.Helper()
	large := filepath.Join(t.TempDir(), "large.png")
	out, err := exec.Command("chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--hide-scrollbars",
		"--user-data-dir="+t.TempDir(), "--screenshot="+large, fmt.Sprintf("--force-device-scale-factor=%d", pictureScale),
		fmt.Sprintf("--window-size=%d,%d", pictureWidth, pictureHeight), url).CombinedOutput()
	if err != nil {
		t.Fatalf("chromium: %v\n%s", err, out)
	}
	content, err := os.ReadFile(large)
	if err != nil {
		t.Fatal(err)
	}
	whole, err := png.Decode(bytes.NewReader(content))
	if err != nil {
		t.Fatal(err)
	}
	var small bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&small, fewColours(whole)); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, small.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

// fewColours is a picture in the 256 colours that it has most of: a third of the bytes.
func fewColours(whole image.Image) image.Image {
	most := map[color.Color]int{}
	for y := range whole.Bounds().Dy() {
		for x := range whole.Bounds().Dx() {
			most[color.NRGBAModel.Convert(whole.At(x, y))]++
		}
	}
	all := slices.SortedFunc(maps.Keys(most), func(a, b color.Color) int {
		return cmp.Or(most[b]-most[a], cmp.Compare(fmt.Sprint(a), fmt.Sprint(b)))
	})
	few := image.NewPaletted(whole.Bounds(), all[:min(len(all), 256)])
	draw.Draw(few, few.Bounds(), whole, image.Point{}, draw.Src)
	return few
}

var (
	body = regexp.MustCompile(`<body[^>]*>`)
	cid  = regexp.MustCompile(`cid:([^"]+)`)
)

// asRead is a mail as a mail program shows it: its HTML under its subject, and the
// pictures in their places.
func asRead(t *testing.T, m *mail.Message) string {
	t.Helper()
	html, pictures := partsOf(t, m.Header.Get("Content-Type"), m.Body)
	subject, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	from, errFrom := m.Header.AddressList("From")
	if err := errors.Join(err, errFrom); err != nil || html == "" {
		t.Fatalf("the mail has no subject, no sender or no HTML: %v", err)
	}
	head := fmt.Sprintf(`<p style="font:bold 19px sans-serif;margin:14px 16px 2px">%s</p><p style="font:14px sans-serif;color:#555;margin:0;padding:0 16px 10px;border-bottom:1px solid #ccc">%s</p>`, subject, from[0].Name)
	html = body.ReplaceAllStringFunc(html, func(b string) string { return b + head })
	return cid.ReplaceAllStringFunc(html, func(c string) string { return pictures[strings.TrimPrefix(c, "cid:")] })
}

// partsOf gives the HTML of a mail and, by their names in it, its pictures.
func partsOf(t *testing.T, kind string, content io.Reader) (html string, pictures map[string]string) {
	t.Helper()
	kind, params, err := mime.ParseMediaType(kind)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(kind, "multipart/") {
		text, _ := io.ReadAll(quotedprintable.NewReader(content))
		if kind == "text/html" {
			html = string(text)
		}
		return html, nil
	}
	pictures = map[string]string{}
	for parts := multipart.NewReader(content, params["boundary"]); ; {
		p, err := parts.NextRawPart()
		switch {
		case errors.Is(err, io.EOF):
			return html, pictures
		case err != nil:
			t.Fatal(err)
		case strings.HasPrefix(p.Header.Get("Content-Type"), "image/"):
			base64, _ := io.ReadAll(p)
			pictures[strings.Trim(p.Header.Get("Content-ID"), "<>")] = "data:image/png;base64," + strings.Join(strings.Fields(string(base64)), "")
		default:
			text, more := partsOf(t, p.Header.Get("Content-Type"), p)
			html = cmp.Or(text, html)
			maps.Copy(pictures, more)
		}
	}
}

// README shows both pictures, which are what make pictures takes: of a phone's size, with
// something in them, and small.
func TestReadmeShowsItsPictures(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"phone.png", "mail.png"} {
		if !strings.Contains(string(readme), `src="docs/`+name+`"`) {
			t.Errorf("README does not show docs/%s", name)
		}
		content, err := os.ReadFile(filepath.Join("../../docs", name))
		if err != nil {
			t.Fatal(err)
		}
		picture, err := png.Decode(bytes.NewReader(content))
		if err != nil {
			t.Fatal(err)
		}
		if want := image.Rect(0, 0, pictureScale*pictureWidth, pictureScale*pictureHeight); picture.Bounds() != want || len(content) > pictureBytes || len(content) < 20_000 {
			t.Errorf("docs/%s is %v with %d bytes, want %v with 20 to 150 kB", name, picture.Bounds(), len(content), want)
		}
	}
}
