package rules

import (
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

// A record is the life of one condition of one subject. It is stored in
// snapshots, so its fields are exported.
type record struct {
	Urgency  farm.Urgency // Calm: not raised
	Episode  string
	Since    time.Time // when the episode began
	EasedAt  time.Time
	NowSince time.Time // when it became as urgent as now
	Peak     float64   // the worst level of the episode
	HasPeak  bool

	Relimited    float64 // the level when other limits came into force that see nothing wrong in it
	HasRelimited bool

	Seen     bool
	Text     string
	Forecast *farm.Forecast
	Advice   *farm.Advice
	Cautions []string
}

// A verdict is what a condition ought to be at one moment, and the words for
// it. Words are made only when something changes: the quiet path makes none.
type verdict struct {
	urgency farm.Urgency
	say     func(kind farm.ChangeKind) saying
}

// A saying is the words and figures of a change.
type saying struct {
	text     string
	forecast *farm.Forecast
	advice   *farm.Advice
	cautions []string
}

// apply moves the record to the verdict and gives the change that this is,
// if it is one.
func (r *record) apply(at time.Time, who subject, c farm.Condition, v verdict) (farm.Change, bool) {
	kind, ok := r.kind(v.urgency)
	if !ok {
		return farm.Change{}, false
	}
	again := false
	if kind == farm.Raised {
		again = r.begin(at, who, c)
	}
	told := v.urgency
	if kind == farm.Eased {
		told = r.Urgency
		r.EasedAt = at
	}
	if v.urgency == farm.Now {
		r.NowSince = at
	}
	r.Urgency = v.urgency
	s := v.say(kind)
	r.keep(s)
	ch := farm.Change{
		At: at, Bin: who.Bin, Zone: who.Zone, Probe: who.Probe, Condition: c, Change: kind, Urgency: told,
		Text: s.text, Forecast: s.forecast, Advice: s.advice, Cautions: s.cautions,
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
func (r *record) begin(at time.Time, who subject, c farm.Condition) (again bool) {
	if r.Episode != "" && at.Sub(r.EasedAt) <= sameEpisode {
		return true
	}
	*r = record{Since: at, Episode: episodeID(who, c, at)}
	return false
}

// keep remembers the words of a change, for when no others can be made.
func (r *record) keep(s saying) {
	r.Text, r.Forecast, r.Advice, r.Cautions = s.text, s.forecast, s.advice, s.cautions
}

func (r *record) raised() bool { return r.Urgency != farm.Calm }

// reach notes a level; worse is greater when up, else smaller.
func (r *record) reach(v float64, up bool) {
	if r.Urgency == farm.Calm {
		return
	}
	if !r.HasPeak || (up && v > r.Peak) || (!up && v < r.Peak) {
		r.Peak, r.HasPeak = v, true
	}
}

// episodeID is short enough to type and the same in every replay.
func episodeID(who subject, c farm.Condition, at time.Time) string {
	h := fnv.New32a()
	for _, part := range []string{who.Bin, who.Zone, who.Probe, string(c), strconv.FormatInt(at.UnixMilli(), 10)} {
		h.Write([]byte(part))
		h.Write([]byte{0})
	}
	return string(c) + "-" + strconv.FormatUint(uint64(h.Sum32()), 36)
}
