package rules

import (
	"fmt"
	"time"

	"binwatchd/internal/farm"
)

// passingWithin is how near the end of the sifting window is told: the keeper
// comes by once a day at best.
const (
	passingWithin = 36 * time.Hour
	mayPassWithin = 18 * time.Hour // by the early end of the forecast
	passingCalm   = 12             // refits in a row that must see more time, for the warning to end
)

// siftMemory is what is remembered of a sifting window. A zone is sifted a few
// pans at a time, so no sifting ends it: it ends by drying out, when the zone is
// emptied, or when the keeper says that it is finished.
type siftMemory struct {
	Ready   latch // in the window
	Closed  latch // past its dry end
	Over    bool  // by the keeper's word: the next window begins from above
	Passing bool
	Calm    int // refits in a row that saw more time

	Since      time.Time // when the zone was last seen wetter than the window; zero: never
	TakenL     float64   // sifted since then, as far as amounts were given
	Measured   int       // siftings since then with an amount
	Unmeasured int       // and without one
}

// judgeSifting judges the window of a sifting zone: it opens when the moisture
// comes into the thrive band from above, and closes at its dry end.
func (s *State) judgeSifting(z *zone, at time.Time) {
	m, v, band := &z.Husbandry.Sift, z.moist.Steady, z.moist.bands.Thrive
	margin := z.moist.margin
	if v > band.High+margin {
		m.Over, m.Since = false, at
		m.TakenL, m.Measured, m.Unmeasured = 0, 0, 0
	}
	in := !m.Over && band.Contains(v)
	m.Ready.judge(at, in, m.Over || v > band.High+margin || v < band.Low, z.spec.Patience)
	m.Closed.judge(at, !m.Over && v < band.Low, m.Over || v >= band.Low+margin, z.spec.Patience)
	switch {
	case m.Closed.On || m.Ready.On && z.passing(at):
		m.Passing, m.Calm = true, 0
	case m.Over || v > band.High+margin || m.Calm >= passingCalm:
		m.Passing = false
	}
	s.turn(z.record(farm.SiftReady), at, m.Ready.On && !m.Closed.On)
	s.turn(z.record(farm.SiftPassing), at, m.Passing)
}

// take counts a sifting of the window in hand. One after the keeper's word
// that all is sifted shows that it was not.
func (m *siftMemory) take(at time.Time, litres float64) {
	if at.Before(m.Since) {
		return // of an earlier window
	}
	m.Over = false
	if litres > 0 {
		m.TakenL += litres
		m.Measured++
	} else {
		m.Unmeasured++
	}
}

// finish ends the window in hand by the keeper's word.
func (m *siftMemory) finish(at time.Time) {
	if !at.Before(m.Since) {
		*m = siftMemory{Over: true, Since: m.Since}
	}
}

// open tells whether there is a window in hand, or one that has closed with
// something left in the zone.
func (m *siftMemory) open() bool { return m.Ready.On || m.Closed.On }

// passing tells whether the window is likely to close within a day and a half,
// or may well do so within a day.
func (z *zone) passing(at time.Time) bool {
	closes := z.Husbandry.Dry.Thrive
	switch {
	case closes.Past:
		return true
	case closes.Crosses.IsZero():
		return false
	}
	return closes.Within(at, passingWithin) || !closes.Earliest.After(at.Add(mayPassWithin))
}

func (s *State) saySift(b breach, at time.Time) saying {
	z, c, u := b.zone, b.rec.what.condition, s.farm.Units
	closes, foreseen := ahead(z.Husbandry.Dry.Thrive, at)
	brief := fmt.Sprintf("ready to sift at %s", s.moistNow(z))
	text := s.place(z.who) + " is " + brief + "."
	if c == farm.SiftPassing {
		brief, text = "", fmt.Sprintf("%s can be sifted only a little longer: %s.", s.place(z.who), s.moistNow(z))
	}
	do := "Sift it a few pans at a time; leave what smears for another day. Jot each lot as sifted, and finished when no more is to come."
	switch {
	case z.Husbandry.Sift.Closed.On:
		brief = ""
		text = fmt.Sprintf("%s has become too dry to sift well: %s, below %s.", s.place(z.who), s.levelOf(b), u.Moisture(z.moist.bands.Thrive.Low))
		do = "Dampen it a little and sift what still crumbles soon, before it turns to hard lumps."
	case foreseen:
		text += fmt.Sprintf(" It will be too dry %s.", s.days(closes, at))
	}
	if !b.ofNow(at) {
		brief = ""
		text = fmt.Sprintf("%s was %s when last heard, %s ago: %s.", s.place(z.who), c.Row().Was, farm.SayLong(at.Sub(z.moist.At)), u.Moisture(z.moist.Value))
	}
	text += s.sayTaken(z)
	say := saying{Brief: brief, Text: text, Advice: s.siftAdvice(z, do), Cautions: []string{dustCaution, heavyCaution}}
	if foreseen && !z.Husbandry.Sift.Closed.On {
		say.Forecast = &closes
		say.Advice.Closes = &closes.Crosses
	}
	return say
}

// siftAdvice fills in what the keeper does each time: the amount and the tub of
// the last sifting, and the only tub there is before the first.
func (s *State) siftAdvice(z *zone, do string) *farm.Advice {
	usual := z.Husbandry.Sifts
	if s.tub(usual.To) == nil {
		usual.To = s.onlyTub()
	}
	return &farm.Advice{Do: do, SiftLitres: usual.Litres, SiftTo: usual.To}
}

// sayTaken says how much of the zone has been sifted in this window: a guess
// from jots, which decides nothing.
func (s *State) sayTaken(z *zone) string {
	m, u := z.Husbandry.Sift, s.farm.Units
	more := ""
	if m.Unmeasured > 0 {
		more = ", and " + times(m.Unmeasured) + " without an amount"
	}
	switch whole := z.bin.spec.VolumeL * z.spec.Share; {
	case m.Measured == 0 && m.Unmeasured == 0:
		return ""
	case m.Measured == 0:
		return " Sifted " + times(m.Unmeasured) + " so far."
	case m.TakenL < whole:
		return fmt.Sprintf(" %s sifted%s.", farm.Capital(u.VolumeOf(m.TakenL, whole)), more)
	}
	return fmt.Sprintf(" %s sifted so far%s.", farm.Capital(u.Volume(m.TakenL)), more)
}

// times says how often: "once", "twice", "3 times".
func times(n int) string {
	if n <= 2 {
		return [...]string{1: "once", 2: "twice"}[n]
	}
	return fmt.Sprintf("%d times", n)
}

// heavyCaution is common sense, no source.
const heavyCaution = "Full tubs are heavy: carry half loads."

func (s *State) saySifted(z *zone, c farm.Condition) string {
	place, level := s.place(z.who), s.moistNow(z)
	switch m := z.Husbandry.Sift; {
	case m.Over:
		return place + " is sifted."
	case c == farm.SiftReady && m.Closed.On:
		return fmt.Sprintf("%s is no longer right to sift: %s, too dry.", place, level)
	case z.moist.Value > z.moist.bands.Thrive.High:
		return fmt.Sprintf("%s is too moist to sift again: %s.", place, level)
	}
	return fmt.Sprintf("%s has more time for sifting: %s.", place, level)
}
