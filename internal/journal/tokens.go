package journal

import (
	"context"
	"strings"

	"binwatchd/internal/farm"
)

// KeepToken keeps the hash of a token that goes out in a mail, and forgets what is over.
func (j *Journal) KeepToken(ctx context.Context, k farm.Token) error {
	return j.update(ctx, "keep token", func(t *tx) {
		made := k.Until.Add(-farm.TokenLife).UnixMilli()
		t.exec(`DELETE FROM token WHERE until < ?`, made)
		t.exec(`DELETE FROM acted WHERE at < ?`, k.Until.Add(-5*farm.TokenLife).UnixMilli())
		t.exec(`INSERT INTO token (hash, who, episode, until) VALUES (?, ?, ?, ?)`, k.Hash[:], k.Who, strings.Join(k.Episodes, " "), k.Until.UnixMilli())
	})
}

// Token gives the token of a hash; found is false for one that was never kept.
func (j *Journal) Token(ctx context.Context, hash [32]byte) (k farm.Token, found bool, err error) {
	k.Hash = hash
	episodes := "" // parted by blanks, which are in none
	found, err = viewed(ctx, j, "read token", func(t *tx) bool {
		return t.get(into(&k.Who, &episodes, millis{&k.Until}), `SELECT who, episode, until FROM token WHERE hash = ?`, hash[:])
	})
	k.Episodes = strings.Fields(episodes)
	return k, found, err
}

// Claim notes an act from a mail, unless somebody has done it already: then it gives
// theirs, and first is false.
func (j *Journal) Claim(ctx context.Context, a farm.Acted) (by farm.Acted, first bool, err error) {
	by = a
	err = j.update(ctx, "note act", func(t *tx) {
		first = !t.get(into(&by.Who, millis{&by.At}), actedOn, a.Episode, a.Do)
		if first {
			t.exec(`INSERT INTO acted (episode, act, who, at) VALUES (?, ?, ?, ?)`, a.Episode, a.Do, a.Who, a.At.UnixMilli())
		}
	})
	return by, first, err
}

const actedOn = `SELECT who, at FROM acted WHERE episode = ? AND act = ?`

// Acted tells who has done an act from a mail, if anybody has.
func (j *Journal) Acted(ctx context.Context, episode string, do farm.MailAct) (by farm.Acted, found bool, err error) {
	by = farm.Acted{Episode: episode, Do: do}
	found, err = viewed(ctx, j, "read act", func(t *tx) bool {
		return t.get(into(&by.Who, millis{&by.At}), actedOn, episode, do)
	})
	return by, found, err
}

// Release takes back the note of an act that could not be carried out, or is over.
func (j *Journal) Release(ctx context.Context, episode string, do farm.MailAct) error {
	return j.update(ctx, "take back act", func(t *tx) {
		t.exec(`DELETE FROM acted WHERE episode = ? AND act = ?`, episode, do)
	})
}
