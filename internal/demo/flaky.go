package demo

import (
	"strconv"
	"time"

	"binwatchd/internal/physics"
)

// flakyProbe is the second temperature probe in the bed's working end, on a
// corroded connector: now and then it sends its power-on value (85.0), its
// board's word for a lost probe (−127) or a number out of nowhere, and every
// few days it says nothing for some hours.
func (s *Sim) flakyProbe() func(*site, time.Time) string {
	read := s.reader(warm("bed-t2"), nearT)
	d := s.dice.Named("flaky")
	return func(at *site, t time.Time) string {
		v := read(at, t)
		switch throw := d.Uniform(t.UnixMilli()); {
		case mute(d, t):
			return ""
		case throw < 1.0/90:
			v = 85
		case throw < 2.0/90:
			v = -127
		case throw < 3.0/90:
			v += 11 + d.Between(t.UnixMilli()+1, 0, 14)
		}
		return strconv.FormatFloat(v, 'f', 2, 64)
	}
}

// mute tells whether the probe has lost its connection: on one day of three,
// for two to six hours.
func mute(d physics.Dice, t time.Time) bool {
	i := t.Unix() / 86400
	if d.Named("mute").Uniform(i) > 1.0/3 {
		return false
	}
	from := d.Named("mute from").Between(i, 0, 18)
	lasts := d.Named("mute for").Between(i, 2, 6)
	h := float64(t.Unix()%86400) / 3600
	return h >= from && h < from+lasts
}
