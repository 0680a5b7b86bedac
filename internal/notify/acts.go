package notify

import (
	"context"
	"crypto/rand"
	"net/url"
	"strings"

	"binwatchd/internal/farm"
)

// Tokens keeps what the buttons of mails carry, as hashes.
type Tokens interface {
	KeepToken(ctx context.Context, k farm.Token) error
}

// acts are the buttons of a mail about an item: each leads to the keeper's page at that
// act, with a token for this person and episode. There are none where the page has no
// address, where nothing is raised any more, and where the token can't be kept: a mail is
// worth more than its buttons.
func (w writer) acts(ctx context.Context, it item) part {
	c := it.last.Change
	if w.cfg.Address == "" || w.tokens == nil || w.to == "" || it.say == over || it.say == cameWent {
		return part{}
	}
	text := rand.Text()
	if err := w.tokens.KeepToken(ctx, farm.Token{Hash: farm.HashToken(text), Who: w.to, Episode: c.Episode, Until: w.now.Add(farm.TokenLife)}); err != nil {
		w.cfg.Log.Warn("mail goes without buttons", "episode", c.Episode, "error", err)
		return part{}
	}
	var all [][2]string
	for _, a := range farm.MailButtons {
		if !a.OfBin || c.Bin != "" {
			q := url.Values{"do": {string(a.Do)}, "t": {text}}
			all = append(all, [2]string{a.Words, strings.TrimRight(w.cfg.Address, "/") + "/act?" + q.Encode()})
		}
	}
	return part{Acts: all}
}
