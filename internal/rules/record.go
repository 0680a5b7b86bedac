package rules

import (
	"cmp"
	"hash/fnv"
	"strconv"
	"time"

	"binwatchd/internal/farm"
)

// sameEpisode is how soon after easing the same breach is the old episode
// going on, not a new one.
const sameEpisode = 24 * time.Hour

// A subject is what a condition is about: a zone, a probe or the farm.
type subject struct{ Bin, Zone, Probe string }

// A topic is which condition of a subject. Its quantity is given where a subject has
// the condition once for each: past-limit.
type topic struct {
	condition farm.Condition
	quantity  farm.Quantity
}

// A record is the life of one condition of one subject. What is exported is stored
// in snapshots.
type record struct {
	who  subject
	what topic
	row  *farm.ConditionRow

	Urgency  farm.Urgency // Calm: not raised
	Episode  string
	Since    time.Time // when the episode began
	EasedAt  time.Time
	NowSince time.Time // when it became as urgent as now
	Peak     float64   // the worst level of the episode
	HasPeak  bool
	Side     farm.Side // of a level: on which it is raised

	Relimited    float64 // the level when other limits came into force that see nothing wrong in it
	HasRelimited bool

	Seen     bool
	Text     string
	Forecast *farm.Forecast
	Advice   *farm.Advice
	Cautions []string
}

func newRecord(who subject, what topic) *record {
	return &record{who: who, what: what, row: what.condition.Row()}
}

// judgedBy is the quantity that the condition is judged by; "" where that is no
// level.
func (r *record) judgedBy() farm.Quantity { return cmp.Or(r.what.quantity, r.row.Quantity) }

// restore takes over what a snapshot says of the record.
func (r *record) restore(from record) {
	from.who, from.what, from.row = r.who, r.what, r.row
	*r = from
}

// A saying is the words and figures of a change.
type saying struct {
	brief    string // the first sentence of text without its place: "too hot at 33 °C"; "" where the condition's name says as much
	text     string
	forecast *farm.Forecast
	advice   *farm.Advice
	cautions []string
}

// apply moves the record to an urgency and gives the change that this is, with
// words that are made after the move; ok is false if it is none.
func (r *record) apply(at time.Time, to farm.Urgency, say func() saying) (ch farm.Change, ok bool) {
	kind, ok := r.kind(to)
	if !ok {
		return farm.Change{}, false
	}
	again := kind == farm.Raised && r.begin(at)
	told := to
	if kind == farm.Eased {
		told = r.Urgency
		r.EasedAt = at
	}
	if to == farm.Now {
		r.NowSince = at
	}
	r.Urgency = to
	s := say()
	r.keep(s)
	ch = farm.Change{
		At: at, Bin: r.who.Bin, Zone: r.who.Zone, Probe: r.who.Probe, Condition: r.what.condition, Quantity: r.what.quantity,
		Change: kind, Urgency: told, Brief: s.brief, Text: s.text, Forecast: s.forecast, Advice: s.advice, Cautions: s.cautions,
		Episode: r.Episode, Again: again, Since: r.Since,
	}
	if kind == farm.Eased && r.HasPeak {
		peak := r.Peak
		ch.Peak = &peak
	}
	return ch, true
}

// kind names the step from the urgency in force to another.
func (r *record) kind(to farm.Urgency) (farm.ChangeKind, bool) {
	switch from := r.Urgency; {
	case from == to:
		return "", false
	case from == farm.Calm:
		return farm.Raised, true
	case to == farm.Calm:
		return farm.Eased, true
	case to > from:
		return farm.Worsened, true
	}
	return farm.Lightened, true
}

// begin opens an episode, or takes up the last one if it ended within a day.
func (r *record) begin(at time.Time) (again bool) {
	if r.Episode != "" && at.Sub(r.EasedAt) <= sameEpisode {
		return true
	}
	r.restore(record{Since: at, Episode: r.episode(at)})
	return false
}

// keep remembers the words of a change, for when no others can be made.
func (r *record) keep(s saying) {
	r.Text, r.Forecast, r.Advice, r.Cautions = s.text, s.forecast, s.advice, s.cautions
}

func (r *record) raised() bool { return r.Urgency != farm.Calm }

// reach notes a level; worse is what lies farther to the side.
func (r *record) reach(v float64, side farm.Side) {
	if r.raised() && (!r.HasPeak || farther(side, v, r.Peak)) {
		r.Peak, r.HasPeak = v, true
	}
}

// episode names one that begins at a time: short enough to type and the same in
// every replay.
func (r *record) episode(at time.Time) string {
	h := fnv.New32a()
	for _, part := range []string{r.who.Bin, r.who.Zone, r.who.Probe, string(r.what.condition) + string(r.what.quantity), strconv.FormatInt(at.UnixMilli(), 10)} {
		h.Write([]byte(part))
		h.Write([]byte{0})
	}
	return string(r.what.condition) + "-" + strconv.FormatUint(uint64(h.Sum32()), 36)
}
