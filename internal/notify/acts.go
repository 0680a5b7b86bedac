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

// acts are the buttons of a mail about episodes, of which one is an item's: each leads to the keeper's
// page at that act, with a token for this person and these episodes. What is done to a single bin has no button
// where several are named. There are none where the page has no
// address, where nothing is raised any more, and where the token can't be kept: a mail is
// worth more than its buttons.
func (w writer) acts(ctx context.Context, it item, episodes []string) part {
	c := it.last.Change
	if w.cfg.Address == "" || w.tokens == nil || w.to == "" || it.say == over || it.say == cameWent {
		return part{}
	}
	text := rand.Text()
	k := farm.Token{Hash: farm.HashToken(text), Who: w.to, Episodes: episodes, Until: w.now.Add(farm.TokenLife)}
	if err := w.tokens.KeepToken(ctx, k); err != nil {
		w.cfg.Log.Warn("mail goes without buttons", "episode", c.Episode, "error", err)
		return part{}
	}
	var all [][2]string
	_, person := w.farm.PersonCalled(w.to)
	for _, a := range farm.MailButtons {
		if (!a.Named || person) && (!a.OfBin || c.Bin != "") && (a.Do != farm.MailDone || len(episodes) == 1) {
			q := url.Values{"do": {string(a.Do)}, "t": {text}}
			all = append(all, [2]string{a.Words, strings.TrimRight(w.cfg.Address, "/") + "/act?" + q.Encode()})
		}
	}
	return part{Acts: all}
}
