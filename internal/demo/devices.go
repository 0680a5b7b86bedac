package demo

import (
	"fmt"
	"math"
	"strings"
	"time"

	"binwatchd/internal/physics"
)

// A device is one sender: it speaks on one topic, every so often.
type device struct {
	topic  string
	every  time.Duration
	retain bool
	say    func(time.Time) string // "" says nothing this time

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
func (d *device) speak(origin time.Time) (Message, bool) {
	lost := d.dice.Named("lost").Uniform(d.turn) < 1.0/300
	t := d.due
	d.turn++
	d.due = d.when(origin)
	if lost {
		return Message{}, false
	}
	text := d.say(t)
	return Message{t, d.topic, []byte(text), d.retain}, text != ""
}

// devices are the nursery's senders, each in the way of some cheap board: bare
// numbers, numbers in strings, Fahrenheit, raw counts, ratios, time stamps of
// two kinds.
func (s *Sim) devices() (list []*device) {
	add := func(topic string, every time.Duration, say func(time.Time) string) *device {
		d := &device{topic: topic, every: every, say: say}
		d.begin(s.dice.Named(topic), s.site.origin, s.start)
		list = append(list, d)
		return d
	}
	const often = 10 * time.Minute
	at := s.site
	add("glass/bed", often, says(`{"temp_f":%.1f,"soil":%.0f,"at":%q}`,
		s.warm("bed-t", at.near).as(fahrenheit), s.damp("bed-m", 0.5, at.near).as(counts), stamp))
	add("glass/bed/second", often, s.flakyProbe())
	add("glass/far/temperature", often, says("%.2f", s.warm("far-t", at.far)))
	add("glass/far/moisture", often, says("%.1f", s.damp("far-m", 0.4, at.far)))
	add("glass/air/temperature", often, says("%.2f", s.air("glass-air", &at.glass)))
	add("shed/air", often, says(`{"celsius":"%.2f"}`, s.air("shed-air", &at.shed)))
	add("shed/node/battery", 2*time.Hour, says("%.0f", s.shedPct.say))
	add("prop/cabinet", often, says(`{"ts":%d,"temp":%.2f,"moisture":%.1f}`, millis, s.warm("box-t", at.box), s.damp("box-m", 0.4, at.box)))
	add("prop/air", often, says("%.1f", s.air("prop-air", &at.cabinet)))
	add("yard/air", often, says("%.1f", s.air("yard-air", &at.yard))).retain = true
	add("yard/trough", 15*time.Minute, says(`{"trough":{"celsius":%.2f,"percent":%.1f}}`,
		s.warm("trough-t", at.trough), s.damp("trough-m", 0.6, at.trough)))
	add("store/air", 30*time.Minute, says("%.1f", s.air("store-air", &at.store)))
	add("store/crate/t", 30*time.Minute, says("%.2f", s.warm("crate-t", at.crate)))
	add("store/crate/m", 30*time.Minute, says("%.0f", s.damp("crate-m", 0.5, at.crate)))
	add("store/crate/battery", 6*time.Hour, says("%.2f", s.crateV.say))
	add("store/barrel", time.Hour, says(`{"t":%.1f,"m":%.1f}`,
		s.probe("barrel-t", physics.Gauge{White: 0.05, Step: 0.5}, &at.store, at.barrel.TempC), // whole half degrees
		s.damp("barrel-m", 0.5, at.barrel)))
	add("weather/hours", 3*time.Hour, s.forecast())
	for i, tray := range at.trays {
		add(fmt.Sprintf("shed/tray/%d", i+1), often, says(`{"t":%.2f,"m":%.3f}`,
			s.warm(fmt.Sprint("tray-t", i), tray), s.damp(fmt.Sprint("tray-m", i), 0.5, tray).as(ratio)))
	}
	return list
}

// forecast is the weather of the next day and a half, hour by hour, as some service
// foretells it: the farther ahead, the farther off, up to some 2 °C.
func (s *Sim) forecast() func(time.Time) string {
	d := s.dice.Named("forecast")
	return func(t time.Time) string {
		hours := make([]string, 36)
		for i := range hours {
			at := t.Truncate(time.Hour).Add(time.Duration(i) * time.Hour)
			off := math.Sqrt(float64(i)/12) * d.Smooth(at, 18*time.Hour)
			hours[i] = fmt.Sprintf("[%q,%.1f]", stamp(at), s.site.climate.At(at).Air.TempC+off)
		}
		return "[" + strings.Join(hours, ",") + "]"
	}
}

// A value is a part of what a device says.
type value func(time.Time) any

// says sends values in a format of their own.
func says(format string, values ...value) func(time.Time) string {
	return func(t time.Time) string {
		args := make([]any, len(values))
		for i, v := range values {
			args[i] = v(t)
		}
		return fmt.Sprintf(format, args...)
	}
}

// as turns a number into another unit.
func (v value) as(unit func(float64) float64) value {
	return func(t time.Time) any { return unit(v(t).(float64)) }
}

func stamp(t time.Time) any  { return t.UTC().Format(time.RFC3339) }
func millis(t time.Time) any { return t.UnixMilli() }

func fahrenheit(c float64) float64 { return c*9/5 + 32 }
func ratio(pct float64) float64    { return pct / 100 }

// counts are the raw ones of a capacitive probe, by the two points of the
// configuration.
func counts(pct float64) float64 {
	return math.Round(rawAt12 + (pct-12)*(rawAt84-rawAt12)/(84-12))
}

const (
	rawAt12 = 2850.0 // counts at 12 % of water
	rawAt84 = 1420.0 // counts at 84 %
)

// digital is a temperature probe's make: sixteenths of a degree, half a degree
// of error at most (DS18B20 datasheet).
var digital = physics.Gauge{White: 0.04, Wander: 0.05, Step: 0.0625}

// warm is a digital probe in a container, air one in a room.
func (s *Sim) warm(name string, c *container) value { return s.probe(name, digital, c.room, c.TempC) }

func (s *Sim) air(name string, r *room) value {
	return s.probe(name, digital, r, func() float64 { return r.air.TempC })
}

// damp is a calibrated capacitive probe whose electronics feel the day.
func (s *Sim) damp(name string, white float64, c *container) value {
	return s.probe(name, physics.Gauge{White: white, Wander: 0.4, PerK: 0.06, Contact: 0.3}, c.room, c.Moisture)
}

// probe ties a gauge to what it measures; by its name its noise is its own.
func (s *Sim) probe(name string, g physics.Gauge, r *room, truth func() float64) value {
	g.Dice = s.dice.Named("gauge " + name)
	return func(t time.Time) any { return g.Read(t, truth(), r.air.TempC) }
}

// flakyProbe is the second temperature probe in the bed's working end, on a
// corroded connector: now and then it sends its power-on value (85.0), its
// board's word for a lost probe (−127) or a number out of nowhere, and every
// few days it says nothing for some hours.
func (s *Sim) flakyProbe() func(time.Time) string {
	read, d := s.warm("bed-t2", s.site.near), s.dice.Named("flaky")
	return func(t time.Time) string {
		v := read(t).(float64)
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
		return fmt.Sprintf("%.2f", v)
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

// A battery runs down evenly. The keeper brings a new one some rounds after the
// old one got low: see careForBatteries.
type battery struct {
	full, perDay  float64
	low, changeAt float64 // the configuration's low; what it has come to when the keeper is there
	changed       time.Time
}

func (b *battery) level(t time.Time) float64 {
	return max(0, b.full-b.perDay*t.Sub(b.changed).Hours()/24)
}

func (b *battery) say(t time.Time) any { return b.level(t) }
