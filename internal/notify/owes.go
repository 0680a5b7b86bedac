package notify

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strconv"
	"time"

	"binwatchd/internal/farm"
)

// usualAbout is what a teller hears unless it says otherwise; what is due soon
// is told on the rounds.
var usualAbout = []farm.Urgency{farm.Now, farm.Today}

// Owes gives the keys of the tellers to whom a change is owed, in the order of
// the configuration. It is pure: whether the change is then told, held back or
// found needless is for the sender, which knows what was told before. So an
// easing and a lightening are owed to everybody whose bin it is, for the
// raise may have been told at another urgency. What says that the journal
// cannot be written is never owed: see [Sender.FromMemory].
func Owes(tellers []Teller, c farm.Change) []string {
	if c.Condition == farm.Unwritten {
		return nil
	}
	var keys []string
	for _, t := range tellers {
		// Whoever was told of a bin hears that it is watched no more, also where the
		// teller's bins bear other names by now.
		if c.Ended == farm.Unwatched || t.minds(c.Bin) && (!news(c) || t.hears(c.Urgency, c.Condition)) {
			keys = append(keys, t.Key)
		}
	}
	return keys
}

// OwedFor gives the rows to write with a change that was caused by an event
// which arrived at created.
func OwedFor(tellers []Teller, c farm.Change, created time.Time) []farm.Owed {
	var out []farm.Owed
	for _, key := range Owes(tellers, c) {
		out = append(out, farm.Owed{Notice: NoticeID(key, c), Teller: key, Change: c, Created: created, Next: created})
	}
	return out
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

// news tells whether a change brings something up, rather than taking it back.
func news(c farm.Change) bool { return c.Change == farm.Raised || c.Change == farm.Worsened }

// minds tells whether a bin is one of the teller's.
func (t *Teller) minds(bin string) bool {
	return bin == "" || len(t.Bins) == 0 || slices.Contains(t.Bins, bin)
}

// hears tells whether the teller wants to hear of an urgency, or of a
// condition at any.
func (t *Teller) hears(u farm.Urgency, c farm.Condition) bool {
	about := t.About
	if about == nil && len(t.Conditions) == 0 {
		about = usualAbout
	}
	return slices.Contains(about, u) || slices.Contains(t.Conditions, c)
}
