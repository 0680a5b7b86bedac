package notify_test

import (
	"bytes"
	"encoding/base64"
	"flag"
	"fmt"
	"image/png"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
)

var update = flag.Bool("update", false, "write the golden files anew")

// opened is a mail taken apart.
type opened struct {
	header   mail.Header
	text     string
	html     string
	pictures map[string][]byte // by content id
}

// open takes a mail apart as a client would.
func open(t *testing.T, raw []byte) opened {
	t.Helper()
	m := read(t, raw)
	o := opened{header: m.Header, pictures: map[string][]byte{}}
	o.take(t, m.Header.Get("Content-Type"), m.Header.Get("Content-Transfer-Encoding"), "", m.Body)
	return o
}

func (o *opened) take(t *testing.T, kind, coding, id string, body io.Reader) {
	t.Helper()
	media, params, err := mime.ParseMediaType(kind)
	if err != nil {
		t.Fatalf("content type %q: %v", kind, err)
	}
	if strings.HasPrefix(media, "multipart/") {
		for r := multipart.NewReader(body, params["boundary"]); ; {
			p, err := r.NextRawPart()
			if err == io.EOF {
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			o.take(t, p.Header.Get("Content-Type"), p.Header.Get("Content-Transfer-Encoding"), p.Header.Get("Content-ID"), p)
		}
	}
	switch coding {
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	}
	content, err := io.ReadAll(body)
	if err != nil {
		t.Fatal(err)
	}
	switch media {
	case "text/plain":
		o.text = strings.ReplaceAll(string(content), "\r\n", "\n")
	case "text/html":
		o.html = strings.ReplaceAll(string(content), "\r\n", "\n")
	case "image/png":
		o.pictures[strings.Trim(id, "<>")] = content
	default:
		t.Errorf("unexpected part %s", media)
	}
}

// subject decodes the Subject as RFC 2047 has it.
func (o opened) subject(t *testing.T) string {
	t.Helper()
	s, err := new(mime.WordDecoder).DecodeHeader(o.header.Get("Subject"))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// headline is what of the header is the same on every run.
func (o opened) headline(t *testing.T) string {
	t.Helper()
	var b strings.Builder
	fmt.Fprintf(&b, "Subject: %s\n", o.subject(t))
	for _, name := range []string{"From", "To", "Date", "Message-Id", "In-Reply-To", "References", "Auto-Submitted", "Mime-Version"} {
		if v := o.header.Get(name); v != "" {
			fmt.Fprintf(&b, "%s: %s\n", name, v)
		}
	}
	ids := make([]string, 0, len(o.pictures))
	for id := range o.pictures {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	fmt.Fprintf(&b, "Pictures: %s\n\n", strings.Join(ids, ", "))
	return b.String()
}

// golden compares with a file, or writes it with -update.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s differs (-want +got):\n%s", name, diff)
	}
}

func keeperOnly(t *testing.T) notify.Config {
	t.Helper()
	return notify.Config{
		Farm:    hillfoot(t),
		Mail:    notify.Mail{MailSettings: notify.MailSettings{Server: "127.0.0.1:25", From: "bins@example.org"}},
		Tellers: notify.Named([]notify.Teller{{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{Mail: "keeper@example.org", About: []string{"now", "today", "soon"}}}}),
	}
}

func owedOf(cfg notify.Config, changes ...farm.Change) []farm.Owed {
	var out []farm.Owed
	for _, c := range changes {
		for _, o := range notify.OwedFor(cfg.Tellers, c, c.At) {
			o.ID = int64(len(out) + 1)
			out = append(out, o)
		}
	}
	return out
}

// heating is the raise that most mails are about.
func heating() farm.Change {
	c := change(farm.Heating, farm.Raised, farm.Today, start.Add(-time.Minute))
	c.Text = "Bed, near warms by itself after the feed of yesterday, faster than the air around it."
	c.Forecast = &farm.Forecast{Crosses: start.Add(9 * time.Hour), Earliest: start.Add(7 * time.Hour), Latest: start.Add(13 * time.Hour)}
	c.Advice = &farm.Advice{Do: "Fork the fresh feed apart, spread it thin and leave the lid off; take half of it out if it is still warm tomorrow."}
	c.Since = c.At
	return c
}

func tooDry() farm.Change {
	c := change(farm.TooDry, farm.Raised, farm.Today, start.Add(-30*time.Second))
	c.Bin, c.Zone = "crate", "all"
	c.Brief, c.Text = "too dry at 39 %", "Crate is too dry at 39 %. The limit for doing well is 40 %."
	c.Advice = &farm.Advice{WaterLitres: 2.6, VisitLitres: 1.2, DryMassKg: 11, DryMassFrom: "guess"}
	c.Since = start.Add(-3 * time.Hour)
	c.Cautions = []string{"Dust and spores rise from dry castings: dampen them before you handle them, ventilate, and wear a P2/N95 mask."}
	return c
}

func eased(c farm.Change, at time.Time, peak float64) farm.Change {
	c.At, c.Change, c.Forecast, c.Advice, c.Cautions, c.Peak = at, farm.Eased, nil, nil, nil, &peak
	return c
}

func TestGoldenMails(t *testing.T) {
	feedOver := eased(heating(), start.Add(-time.Minute), 30.4)
	feedOver.Since = start.Add(-7 * time.Hour)
	feedOver.Text = "Bed, near no longer warms by itself."
	raised := heating()
	raised.At = start.Add(-7 * time.Hour)
	worse := change(farm.TooHot, farm.Worsened, farm.Now, start.Add(-time.Minute))
	worse.Brief = "too hot at 33.4 °C"
	worse.Text = "Bed, near is too hot at 33.4 °C. Red worms are in danger; blue worms are slowed, but not in danger."
	cold := func(bin, zone, brief, text string) farm.Change {
		c := change(farm.TooCold, farm.Raised, farm.Soon, start.Add(-time.Minute))
		c.Bin, c.Zone, c.Brief, c.Text, c.Episode = bin, zone, brief, text, "e-cold-"+bin
		c.Advice = &farm.Advice{Do: "Cover it or bring it somewhere warmer, and feed little until it has warmed up."}
		return c
	}
	gone := change(farm.TooWet, farm.Raised, farm.Today, start.Add(-9*time.Hour))
	gone.Since = gone.At
	silent := change(farm.Silent, farm.Raised, farm.Today, start.Add(-time.Minute))
	silent.Probe, silent.Text = "bed-m", "Probe bed-m (Bed, near) has said nothing for 40 minutes; it is meant to speak every 10 minutes."

	tests := []struct {
		name    string
		changes []farm.Change
		told    []farm.Change
		world   func() (past, farm.View)
	}{
		{name: "heating", changes: []farm.Change{heating()}},
		{name: "heating-eased", changes: []farm.Change{feedOver}, told: []farm.Change{raised}},
		{name: "too-hot-now", changes: []farm.Change{worse}, told: []farm.Change{change(farm.TooHot, farm.Raised, farm.Today, start.Add(-3*time.Hour))}},
		{name: "too-dry", changes: []farm.Change{tooDry()}},
		{name: "silent", changes: []farm.Change{silent}},
		{name: "power-cut", changes: []farm.Change{
			cold("bed", "near", "too cold at 8.1 °C", "Bed, near is too cold at 8.1 °C. Red worms are resting."),
			cold("trough", "all", "too cold at 6 °C", "Trough is too cold at 6 °C. European worms are resting."),
			tooDry(), gone, eased(gone, start.Add(-5*time.Hour), 89),
		}, world: cut},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			cfg := keeperOnly(t)
			if tt.world == nil {
				tt.world = usual
			}
			p, v := tt.world()
			src := notify.Sources{History: p, Look: look(v)}
			told := map[string][]farm.Owed{}
			for _, o := range owedOf(cfg, tt.told...) {
				told[o.Change.Episode] = append(told[o.Change.Episode], o)
			}
			raw, err := notify.MailOf(cfg, src, owedOf(cfg, tt.changes...), told, start)
			if err != nil {
				t.Fatal(err)
			}
			checkGolden(t, tt.name, raw)
		})
	}
}

// checkGolden holds a mail to its golden text and HTML, and its pictures to
// their size and to showing something.
func checkGolden(t *testing.T, name string, raw []byte) {
	t.Helper()
	o := open(t, raw)
	golden(t, name+".txt", o.headline(t)+o.text)
	golden(t, name+".html", o.html)
	for id, content := range o.pictures {
		if !strings.Contains(o.html, "cid:"+id) {
			t.Errorf("picture %s is not shown", id)
		}
		checkPicture(t, id, content)
	}
	for i, line := range strings.Split(string(raw), "\r\n") {
		if len(line) > 998 || strings.ContainsAny(line, "\r\n") { // RFC 5322 §2.1.1
			t.Errorf("line %d is %d bytes long or broken", i+1, len(line))
		}
	}
}

// checkPicture sees that a picture has a phone's width in two pixels a point,
// and many colours in it.
func checkPicture(t *testing.T, id string, content []byte) {
	t.Helper()
	img, err := png.Decode(bytes.NewReader(content))
	if err != nil {
		t.Fatalf("picture %s: %v", id, err)
	}
	want := [2]int{720, 460}
	if strings.HasPrefix(id, "week-") {
		want = [2]int{600, 240}
	}
	if got := [2]int{img.Bounds().Dx(), img.Bounds().Dy()}; got != want {
		t.Errorf("picture %s is %v, want %v", id, got, want)
	}
	if len(content) > 60_000 {
		t.Errorf("picture %s has %d bytes, too many for a shed's reception", id, len(content))
	}
	paper, other := img.At(0, 0), 0
	for y := img.Bounds().Min.Y; y < img.Bounds().Max.Y; y++ {
		for x := img.Bounds().Min.X; x < img.Bounds().Max.X; x++ {
			if img.At(x, y) != paper {
				other++
			}
		}
	}
	if share := float64(other) / float64(want[0]*want[1]); share < 0.03 || share > 0.9 {
		t.Errorf("picture %s: %.1f %% of it is drawn on", id, 100*share)
	}
}

func TestGoldenRounds(t *testing.T) {
	cfg := keeperOnly(t)
	src := notify.Sources{History: hillfootPast(), Look: look(hillfootView())}
	busy := farm.Rounds{
		At: start, Farm: cfg.Farm.Name, Opening: "Four things to do, the bed first: it heats.",
		Care: []farm.Care{
			{Bin: "bed", Zone: "near", Urgency: farm.Today, Do: "Fork the fresh feed apart and leave the lid off.", Why: "heating, 32 °C by about 11 pm"},
			{Bin: "bed", Zone: "far", Urgency: farm.Today, Do: "Sift it.", Why: "dry enough until Thursday", Seen: true},
			{Bin: "crate", Zone: "all", Urgency: farm.Today, Do: "Water it with about 1¼ litres.", Why: "39 % where 40 to 55 % is right"},
			{Bin: "trough", Zone: "all", Urgency: farm.Soon, Do: "Feed it about 1 kg.", Why: "the last feed is nearly eaten"},
		},
		Bring:    []string{"about 1½ litres of water", "a mask"},
		Cautions: []string{"Sifting raises dust and spores: dampen, ventilate, wear a P2/N95 mask."},
		Probes:   []string{"Probe bed-m is not believed since this morning: changed faster than a bin can.", "Battery crate-b is low at 3.21 V."},
		Hushed:   []string{"Trough: too-cold, until tomorrow 8 am"},
		Needs:    []farm.NeedView{{Text: "200 litres of castings by 10 April: 140 are there, and about 190 are to be expected."}},
	}
	well := farm.Rounds{At: start, Farm: cfg.Farm.Name, Opening: "Nothing to do: every bin does well."}
	for name, r := range map[string]farm.Rounds{"rounds": busy, "rounds-well": well} {
		t.Run(name, func(t *testing.T) {
			raw, err := notify.RoundsMailOf(cfg, src, r, start)
			if err != nil {
				t.Fatal(err)
			}
			checkGolden(t, name, raw)
		})
	}
}
