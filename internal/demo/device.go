package demo

import (
	"time"

	"binwatchd/internal/physics"
)

// A device is one sender: it speaks on one topic, every so often.
type device struct {
	topic  string
	every  time.Duration
	retain bool
	say    func(*site, time.Time) string // "" says nothing this time

	dice physics.Dice
	turn int64     // which of its turns comes next
	due  time.Time // and when
}

// begin makes the first turn from start on the next one. Turns are counted from
// the story's origin.
func (d *device) begin(dice physics.Dice, origin, start time.Time) {
	d.dice = dice
	d.turn = max(0, int64(start.Sub(origin)/d.every)-1)
	for d.due = d.when(origin); d.due.Before(start); d.due = d.when(origin) {
		d.turn++
	}
}

// when is the time of the next turn: a few seconds late at most, for cheap
// clocks drift.
func (d *device) when(origin time.Time) time.Time {
	phase := d.dice.Named("phase").Between(0, 0, d.every.Seconds())
	late := d.dice.Named("late").Between(d.turn, 0, 8)
	after := time.Duration((phase + late) * float64(time.Second))
	return origin.Add(time.Duration(d.turn)*d.every + after).Truncate(time.Millisecond)
}

// speak takes the device's turn. One message in three hundred is lost on the
// air.
func (d *device) speak(s *site) (Message, bool) {
	lost := d.dice.Named("lost").Uniform(d.turn) < 1.0/300
	t := d.due
	d.turn++
	d.due = d.when(s.origin)
	if lost {
		return Message{}, false
	}
	text := d.say(s, t)
	return Message{t, d.topic, []byte(text), d.retain}, text != ""
}
