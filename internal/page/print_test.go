package page_test

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// The rounds of forty bins, five of which want something, print on one sheet of A4
// (ISO 216), without buttons and with a box to tick at each line.
func TestTheRoundsPrintOnOneSheet(t *testing.T) {
	f := newFake()
	for i := range 35 {
		f.rounds.Well = append(f.rounds.Well, fmt.Sprintf("Rack-%02d: 21.4 °C, 78 %%.", i+1))
	}
	f.rounds.Left = "Not done on this visit: Crate (water)."
	b := open(t, startChromium(t), server(t, newPage(t, f.config())), desktop)
	b.visit(t, "/rounds")
	if said := b.text(t, "main"); !strings.Contains(said, f.rounds.Left) || !strings.Contains(said, "Rack-35") {
		t.Errorf("the page says:\n%s", said)
	}
	for _, paper := range []struct {
		name string
		size chromedp.PaperSize
	}{{"A4", chromedp.PaperA4}, {"letter", chromedp.PaperLetter}} {
		pdf := ask(t, b, chromedp.PrintToPDF(chromedp.PDFPaper(paper.size)))
		if sheets := bytes.Count(pdf, []byte("/Type /Page\n")); sheets != 1 {
			t.Errorf("%s: %d sheets, want one", paper.name, sheets)
		}
	}
	b.resize(t, size{"sheet", 700, 1030, false}) // A4 less its margins, CSS px
	call(t, b, func(ctx context.Context) error {
		_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
		return err
	})
	b.picture(t, "rounds-print")
	if shown := eval[int](t, b, `[...document.querySelectorAll("main button, main select, nav")].filter((e) => e.checkVisibility()).length`); shown != 0 {
		t.Errorf("%d things to press are printed", shown)
	}
	b.quiet(t)
}
