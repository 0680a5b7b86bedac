package notify_test

import (
	"context"
	"errors"
	"regexp"
	"slices"
	"strings"
	"testing"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
)

// kept are the tokens that were kept.
type kept struct {
	all    []farm.Token
	broken error
}

func (k *kept) KeepToken(_ context.Context, t farm.Token) error {
	if k.broken == nil {
		k.all = append(k.all, t)
	}
	return k.broken
}

var button = regexp.MustCompile(`https://bins\.example\.org/act\?do=(\w+)&(?:amp;)?t=(\w+)`)

// A mail's buttons lead to the page at that act, with a token for that person and episode
// of which only the hash is kept; the text has the same addresses as the HTML.
func TestAMailHasItsButtons(t *testing.T) {
	cfg, k := keeperOnly(t), &kept{}
	cfg.Address = "https://bins.example.org/"
	p, v := usual()
	raw, err := notify.MailOf(cfg, notify.Sources{History: p, Look: look(v), Tokens: k}, owedOf(cfg, heating(), tooDry()), nil, start)
	if err != nil {
		t.Fatal(err)
	}
	mail := open(t, raw)
	html, text := button.FindAllStringSubmatch(mail.html, -1), button.FindAllStringSubmatch(mail.text, -1)
	if len(html) != 6 || len(text) != 6 || len(k.all) != 2 {
		t.Fatalf("%d buttons in the HTML, %d in the text, %d tokens, want 6, 6 and 2:\n%s", len(html), len(text), len(k.all), mail.text)
	}
	for i, b := range html {
		of := k.all[i/3]
		if want := []string{"done", "known", "quiet"}[i%3]; b[1] != want || text[i][1] != want || text[i][2] != b[2] {
			t.Errorf("button %d: %v in the HTML and %v in the text, want %s", i, b, text[i], want)
		}
		if of.Hash != farm.HashToken(b[2]) || of.Who != "keeper@example.org" || !of.Until.Equal(start.Add(farm.TokenLife)) || len(b[2]) < 26 {
			t.Errorf("button %d: got %+v for %q", i, of, b[2])
		}
	}
	k.all, cfg.Tellers[0].Who = nil, "mara"
	if _, err := notify.MailOf(cfg, notify.Sources{History: p, Look: look(v), Tokens: k}, owedOf(cfg, heating(), tooDry()), nil, start); err != nil || k.all[0].Who != "mara" {
		t.Errorf("%v: a button of Mara's mail is %q's", err, k.all[0].Who)
	}
	if slices.Equal(k.all[0].Episodes, k.all[1].Episodes) {
		t.Error("one token for two episodes")
	}
	for _, words := range []string{"Done", "I know", "Quiet for 2 days"} {
		if !strings.Contains(mail.html, ">"+words+"</a>") {
			t.Errorf("the HTML has no button %q", words)
		}
	}
}

// There are no buttons without an address of the page, for what is over, and where the
// token could not be kept; the mail goes all the same.
func TestAMailWithoutButtons(t *testing.T) {
	for _, tt := range []struct {
		name, address string
		broken        error
		change        farm.Change
	}{
		{"no address", "", nil, heating()},
		{"disk full", "https://bins.example.org", errors.New("disk full"), heating()},
		{"over", "https://bins.example.org", nil, eased(heating(), start, 30)},
	} {
		t.Run(tt.name, func(t *testing.T) {
			cfg := keeperOnly(t)
			cfg.Address = tt.address
			p, v := usual()
			told := map[string][]farm.Owed{}
			if tt.change.Change == farm.Eased {
				told[heating().Episode] = owedOf(cfg, heating())
			}
			raw, err := notify.MailOf(cfg, notify.Sources{History: p, Look: look(v), Tokens: &kept{broken: tt.broken}}, owedOf(cfg, tt.change), told, start)
			if err != nil {
				t.Fatal(err)
			}
			if mail := open(t, raw); strings.Contains(mail.text+mail.html, "/act") || mail.text == "" {
				t.Errorf("got:\n%s", mail.text)
			}
		})
	}
}
