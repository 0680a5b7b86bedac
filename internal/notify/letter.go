package notify

import (
	"strings"

	"binwatchd/internal/farm"
)

// A matter is one episode as one letter tells it.
type matter struct {
	say    saying
	last   farm.Owed   // the change that is told
	before []farm.Owed // earlier changes of the episode, never told, that go with it
	told   []farm.Owed // what the teller was told of the episode before this letter
	then   farm.Change // the change as it was decided, where last speaks of how it stands since
}

// saying is what a matter has to say.
type saying uint8

const (
	stands   saying = iota // raised or worse, and still so
	lighter                // still so, and less urgent
	over                   // what was told is over
	cameWent               // began and was over before it could be told
	still                  // a reminder
)

// ids are the rows of the outbox that a matter settles as told, and as told
// along with it.
func (m matter) ids() (told, summed []int64) {
	for _, o := range m.before {
		summed = append(summed, o.ID)
	}
	if m.say == cameWent {
		return nil, append(summed, m.last.ID)
	}
	return []int64{m.last.ID}, summed
}

// rows are all rows of the outbox in the matter.
func (m matter) rows() []farm.Owed { return append(m.before[:len(m.before):len(m.before)], m.last) }

// pressing tells whether the matter is at now, so that nothing holds it back: a
// hush was set for what was known then.
func (m matter) pressing() bool { return m.say == stands && m.last.Change.Urgency == farm.Now }

// atNow tells whether the matter is to be seen to now, be it news or not.
func (m matter) atNow() bool { return m.pressing() || m.say == still }

// A letter is what one teller gets in one go: a mail, a push or a post to a
// webhook.
type letter struct {
	id      string   // of the first matter's notice: stable over every attempt
	matters []matter // the most urgent first; what came and went last
	again   bool     // an earlier attempt had no answer: it may have arrived
}

func newLetter(ms []matter) letter {
	return letter{id: ms[0].last.Notice, matters: ms}
}

func (l letter) ids() (told, summed []int64) {
	for _, m := range l.matters {
		t, s := m.ids()
		told, summed = append(told, t...), append(summed, s...)
	}
	return told, summed
}

// pressing tells whether something in the letter is at now.
func (l letter) pressing() bool {
	for _, m := range l.matters {
		if m.pressing() {
			return true
		}
	}
	return false
}

// A letter that is about to be handed over is marked so in the outbox, in the
// rows' note on their last attempt. If the answer gets lost, or the program
// dies before it can note it, the very same rows go out again under the same
// id, nothing added and nothing left out; otherwise a server that drops the
// second copy would drop what had been added to it.
const handing = "being handed over as "

func handedAs(id string) string { return handing + id }

// handedOver reads the mark; ok is false when a row bears none.
func handedOver(o farm.Owed) (id string, ok bool) { return strings.CutPrefix(o.Trouble, handing) }
