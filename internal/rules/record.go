package rules

import (
	"cmp"
	"hash/fnv"
	"strconv"
	"time"

	"binwatchd/internal/farm"
)

// sameEpisode is how soon after easing the same breach is the old episode
// going on, not a new one. A choice.
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
	about
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

	Usual time.Time // until when it is told by the rounds alone, for it comes on its usual day; zero: it is not

	Seen  bool    // somebody knows of it, or has taken it on
	Knows knowing // who
	Said  saying  // at the last change, for when no other words can be made
}

// about is what a record is of.
type about struct {
	who      subject
	what     topic
	row      *farm.ConditionRow
	zone     *zone     // nil: of a probe, or of the machinery
	probe    *probe    // nil: of a zone, or of the machinery
	measured *measured // by whose level it is judged; nil: by none
}

func newRecord(of about) *record {
	of.row = of.what.condition.Row()
	return &record{about: of}
}

// restore takes over what is known of the record from elsewhere.
func (r *record) restore(from record) {
	from.about = r.about
	*r = from
}

// A saying is the words and figures of a change.
type saying struct {
	Brief    string // the first sentence of Text without its place: "too hot at 33 °C"; "" where the condition's name says as much
	Text     string
	Forecast *farm.Forecast
	Advice   *farm.Advice
	Cautions []string
}

// emit brings a record to an urgency and notes the change, if that is one. Its
// words are made after the move.
func (s *State) emit(r *record, at time.Time, to farm.Urgency) {
	was, retired := r.Urgency, retiredSince(r.zone, r.probe, at)
	if !retired.IsZero() {
		to = farm.Calm
	}
	if was == to {
		return
	}
	again := was == farm.Calm && r.begin(at)
	ch := farm.Change{
		At: at, Bin: r.who.Bin, Zone: r.who.Zone, Probe: r.who.Probe, Condition: r.what.condition, Quantity: r.what.quantity,
		Change: step(was, to), Urgency: to, Episode: r.Episode, Again: again, Since: r.Since,
	}
	if r.Usual = s.usualUntil(r, at, to); !r.Usual.IsZero() {
		until := r.Usual
		ch.RoundsUntil = &until
	}
	switch r.Urgency = to; to {
	case farm.Now:
		r.NowSince = at
	case farm.Calm:
		ch.Urgency, r.EasedAt = was, at
		if peak := r.Peak; r.HasPeak {
			ch.Peak = &peak
		}
	}
	say := s.sayChange(r, was, at)
	r.Said = say
	ch.Brief, ch.Text, ch.Forecast, ch.Advice, ch.Cautions = say.Brief, say.Text, say.Forecast, say.Advice, say.Cautions
	s.relimited(r, &ch)
	if next := r.becomes(); to == farm.Calm && next != nil && next.raised() {
		ch.Ended = farm.Came
	}
	if !retired.IsZero() {
		ch.Ended, ch.Brief, ch.Text = farm.Unwatched, "", s.sayRetired(r.who, retired)
		ch.Forecast, ch.Advice, ch.Cautions = nil, nil, nil
	}
	s.out = append(s.out, ch)
}

// becomes is the record of what one that is foreseen goes over into; nil where it stays
// what it is.
func (r *record) becomes() *record {
	if r.row.Becomes == "" {
		return nil
	}
	return r.zone.record(r.row.Becomes)
}

// came ends what was foreseen of a condition that has been raised: the two are one
// matter.
func (s *State) came(r *record, at time.Time) {
	for _, o := range r.zone.records {
		if o.raised() && o.becomes() == r {
			s.emit(o, at, farm.Calm)
		}
	}
}

// turn raises a record with the urgency of its row, or eases it, where it stands
// otherwise.
func (s *State) turn(r *record, at time.Time, on bool) {
	to := farm.Calm
	if on {
		to = cmp.Or(r.Urgency, r.row.Urgency)
	}
	s.emit(r, at, to)
}

// step names the step from one urgency to another.
func step(from, to farm.Urgency) farm.ChangeKind {
	switch {
	case from == farm.Calm:
		return farm.Raised
	case to == farm.Calm:
		return farm.Eased
	case to > from:
		return farm.Worsened
	}
	return farm.Lightened
}

// begin opens an episode, or takes up the last one if it ended within a day.
func (r *record) begin(at time.Time) (again bool) {
	if r.Episode != "" && at.Sub(r.EasedAt) <= sameEpisode {
		return true
	}
	r.restore(record{Since: at, Episode: r.episode(at)})
	return false
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
