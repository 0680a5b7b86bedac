package page_test

import (
	"slices"
	"testing"

	"binwatchd/internal/efforttest"
)

// TestScreens takes a picture of every page on a phone and of some on a desktop and in
// the dark, or of all with SOAK=1, for a person to look at. What it asserts is that each drew something
// and that the browser found nothing to complain of.
func TestScreens(t *testing.T) {
	f := newFake()
	withTable(f)
	srv := server(t, newPage(t, f.config()))
	locked := f.config()
	locked.Password = "compost heap"
	gate := server(t, newPage(t, locked))
	chrome := startChromium(t)

	pages := []struct{ name, path string }{
		{"front", "/"}, {"bin", "/bins/bed"}, {"bin-2w", "/bins/bed?span=2w"}, {"bin-1y", "/bins/trough?span=1y"},
		{"bin-table", "/bins/crate"},
		{"rounds", "/rounds"}, {"probes", "/probes"}, {"reliability", "/reliability"},
		{"probe", "/probes/bed-m?raw1=2850&truth1=12&raw2=1420&wet2=263.4&dry2=221.8&tin2=21.7"},
		{"jot-where", "/jot"}, {"jot-what", "/jot?bin=bed&zone=near"}, {"jot-fed", "/jot?bin=bed&zone=near&what=fed"},
		{"hush", "/hush?bin=crate&zone=all&condition=too-dry"}, {"missing", "/nowhere"},
	}
	for _, s := range []size{phone, desktop} {
		b := open(t, chrome, srv, s)
		for _, theme := range []string{"light", "dark"} {
			b.dark(t, theme == "dark")
			b.visit(t, "/")
			b.sight(t, "first-sight-"+s.name+"-"+theme)
			for _, pg := range pages {
				if theme == "dark" && s == desktop && pg.name != "front" {
					continue // dark differs in inks alone; the phone shows them all
				}
				if few := []string{"front", "bin", "rounds"}; (theme == "dark" || s == desktop) && !efforttest.Soak() && !slices.Contains(few, pg.name) {
					continue
				}
				b.visit(t, pg.path)
				if n := b.picture(t, pg.name+"-"+s.name+"-"+theme); n < 8000 {
					t.Errorf("%s at %s size, %s: the picture has %d bytes, as if blank", pg.name, s.name, theme, n)
				}
			}
		}
		b.quiet(t)
		g := open(t, chrome, gate, s)
		g.visit(t, "/login")
		g.picture(t, "login-"+s.name)
		g.quiet(t)
	}
}
