package notify

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/url"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// Kind is the way to a teller.
type Kind string

const (
	ByMail    Kind = "mail"
	ByPush    Kind = "push"
	ByWebhook Kind = "webhook"
)

// A Teller is one recipient: what the keeper says of it, and what was made of that.
type Teller struct {
	TellerSettings
	Key    string // stable name in the outbox and in logs; holds no secret
	Who    string // name of the person that it is; "": of nobody in particular
	Kind   Kind
	Place  int    // among those of its kind in the configuration, from 1
	URL    string // webhook: where to post; push: the service's URL, revealed
	Secret string // webhook: revealed, stands before the settings' own; "": not signed

	apart []string // probes in the air of places that are not the teller's
}

// Within gives the teller with its bins named one by one, of all that its patterns and places
// mean on a farm.
func (t Teller) Within(f *farm.Farm) Teller {
	if len(t.Bins)+len(t.Places) == 0 {
		return t
	}
	var bins, airs []string
	for _, b := range f.Bins {
		if slices.Contains(t.Places, b.Room) || slices.ContainsFunc(t.Bins, func(pattern string) bool {
			fits, _ := path.Match(pattern, b.Name)
			return fits
		}) {
			bins, airs = append(bins, b.Name), append(airs, b.Ambient)
		}
	}
	for _, p := range f.Probes {
		if f.AirOf(p.ID) != "" && !slices.Contains(airs, p.ID) {
			t.apart = append(t.apart, p.ID)
		}
	}
	t.Bins = append(bins, noBin)
	return t
}

// noBin is among the bins of a teller that has bins of its own, lest none were all.
const noBin = "/"

// Named gives the tellers with their place and a key each: mail:ADDRESS, webhook:HOST#2, push:1,
// counted by kind in the order of the configuration. A path or a query of a
// URL may hold a secret and is never part of a key.
func Named(tellers []Teller) []Teller {
	out := slices.Clone(tellers)
	count := map[string]int{} // by kind, and by key
	for i := range out {
		t := &out[i]
		count[string(t.Kind)]++
		t.Place = count[string(t.Kind)]
		switch t.Kind {
		case ByMail:
			t.Key = "mail:" + strings.ToLower(t.Mail)
		case ByWebhook:
			host := "unreadable"
			if u, err := url.Parse(t.URL); err == nil && u.Host != "" {
				host = u.Hostname()
			}
			t.Key = fmt.Sprintf("webhook:%s#%d", host, t.Place)
		default:
			t.Key = fmt.Sprintf("%s:%d", t.Kind, t.Place)
		}
		if count[t.Key]++; count[t.Key] > 1 {
			t.Key = fmt.Sprintf("%s#%d", t.Key, count[t.Key])
		}
	}
	return out
}

// OwedFor gives what the tellers are owed of a change, in the order of the
// configuration, to be written with it; created is when the event that caused it
// arrived. It is pure: whether the change is then told, held back or
// found needless is for the sender, which knows what was told before. So an
// easing and a lightening are owed to everybody whose bin it is, for the
// raise may have been told at another urgency. What says that the journal
// cannot be written is never owed: see [Sender.FromMemory].
func OwedFor(tellers []Teller, c farm.Change, created time.Time) []farm.Owed {
	var out []farm.Owed
	for _, t := range tellers {
		if c.Condition != farm.Unwritten && t.isOwed(c) {
			out = append(out, farm.Owed{Notice: NoticeID(t.Key, c), Teller: t.Key, Change: c, Created: created, Next: created})
		}
	}
	return out
}

// isOwed tells whether the teller is owed a change. Whoever was told of a bin
// hears that it is watched no more, also where the teller's bins bear other
// names by now.
func (t *Teller) isOwed(c farm.Change) bool {
	return c.Ended == farm.Unwatched || t.minds(c.Bin, c.Probe) && (!news(c) || t.hears(c.Urgency, c.Condition))
}

// toldOtherwise tells whether a change says only that what was foreseen has come, of which
// the teller hears as that. A program keeps count of all that is raised.
func (t *Teller) toldOtherwise(c farm.Change) bool {
	return c.Ended == farm.Came && t.Kind != ByWebhook && t.hears(farm.Today, c.Condition.Row().Becomes)
}

// news tells whether a change brings something up, rather than taking it back.
func news(c farm.Change) bool { return c.Change == farm.Raised || c.Change == farm.Worsened }

// minds tells whether a bin, or a probe in no bin, is one of the teller's.
func (t *Teller) minds(bin, probe string) bool {
	if bin == "" {
		return !slices.Contains(t.apart, probe)
	}
	return len(t.Bins) == 0 || slices.Contains(t.Bins, bin)
}

// hears tells whether the teller wants to hear of an urgency, or of a
// condition at any. Where it says nothing it hears what is now and today; what
// is due soon is told on the rounds.
func (t *Teller) hears(u farm.Urgency, c farm.Condition) bool {
	switch {
	case t.After > 0 && u != farm.Now:
		return false
	case len(t.About) == 0:
		return u >= farm.Today
	}
	return slices.Contains(t.About, u.String()) || slices.Contains(t.About, string(c))
}

// NoticeID is the stable identity of telling one teller of one change: the same
// change and teller always give the same id, 24 hexadecimal digits.
func NoticeID(teller string, c farm.Change) string {
	return hashed(teller, c.Episode, string(c.Change), c.Urgency.String(),
		strconv.FormatInt(c.At.UnixMilli(), 10), c.Bin, c.Zone, c.Probe, string(c.Condition))
}

// hashed makes an id of words.
func hashed(words ...string) string {
	h := sha256.New()
	for _, w := range words {
		h.Write([]byte(strconv.Itoa(len(w)) + ":" + w))
	}
	return hex.EncodeToString(h.Sum(nil)[:12])
}
