package notify_test

import (
	"maps"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
)

// fields of every mail; no name and no payload can add one (RFC 5322 §2.2).
var fields = []string{
	"Auto-Submitted", "Content-Type", "Date", "From", "Message-Id", "Mime-Version", "Subject", "To",
}

// Whatever stands in names and texts: the header has its fields and no others,
// the sender and the recipient are who they are, every line is short enough
// (RFC 5322 §2.1.1: 998 characters), the header is ASCII (RFC 2047), and the
// words arrive as they were, their line breaks aside.
func TestNothingCanBeInjected(t *testing.T) {
	words := rapid.OneOf(
		rapid.SampledFrom([]string{
			"bed\r\nBcc: thief@example.org", "bed\nSubject: other", "x\" <thief@example.org>", "=?utf-8?q?bed?=", "<b>bed</b>",
			"Grünes Beet – hinten", "堆肥箱", "bed\x00\x1b[31m", "..", ".\r\n.\r\nMAIL FROM:<thief@example.org>", strings.Repeat("long ", 400), strings.Repeat("w", 2000), "\u202ebed",
		}),
		rapid.StringN(1, 60, 240),
	)
	rapid.Check(t, func(rt *rapid.T) {
		cfg := keeperOnly(t)
		cfg.Farm.Name = words.Draw(rt, "farm")
		c := change(farm.TooHot, farm.Raised, farm.Today, start)
		c.Bin, c.Zone = words.Draw(rt, "bin"), words.Draw(rt, "zone")
		c.Text = words.Draw(rt, "text")
		c.Advice = &farm.Advice{Do: words.Draw(rt, "do")}
		raw, err := notify.MailOf(cfg, notify.Sources{}, owedOf(cfg, c), nil, start)
		if err != nil {
			rt.Fatal(err)
		}
		head, _, _ := strings.Cut(string(raw), "\r\n\r\n")
		for _, line := range strings.Split(string(raw), "\r\n") {
			if len(line) > 998 || strings.ContainsAny(line, "\r\n") {
				rt.Fatalf("a line is %d bytes long or broken: %.80q", len(line), line)
			}
		}
		if i := strings.IndexFunc(head, func(r rune) bool { return r >= utf8.RuneSelf || r < ' ' && r != '\r' && r != '\n' && r != '\t' }); i >= 0 {
			rt.Fatalf("the header is not ASCII: %.80q", head[i:])
		}
		o := open(t, raw)
		if diff := cmp.Diff(fields, slices.Sorted(maps.Keys(o.header))); diff != "" {
			rt.Fatalf("fields (-want +got):\n%s", diff)
		}
		from, err := o.header.AddressList("From")
		if err != nil || len(from) != 1 || from[0].Address != "bins@example.org" {
			rt.Fatalf("from %v, %v", from, err)
		}
		to, err := o.header.AddressList("To")
		if err != nil || len(to) != 1 || to[0].Address != "keeper@example.org" {
			rt.Fatalf("to %v, %v", to, err)
		}
		if strings.Contains(o.html, "<b>") {
			rt.Fatal("a text became a tag")
		}
		if want := strings.Fields(strings.ToValidUTF8(c.Text, "\uFFFD")); !contains(strings.Fields(o.text), want) {
			rt.Fatalf("%q does not arrive in %q", c.Text, o.text)
		}
	})
}

// contains tells whether the words come one after the other.
func contains(all, words []string) bool {
	if len(words) == 0 {
		return true
	}
	return strings.Contains(strings.Join(all, " "), strings.Join(words, " "))
}
