package demo

import (
	"fmt"
	"math"
	"strconv"
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

// devices are the nursery's senders, each in the way of some cheap board: bare
// numbers, numbers in strings, Fahrenheit, raw counts, ratios, time stamps of
// two kinds.
func (s *Sim) devices() []device {
	list := []device{
		{topic: "glass/bed", every: 10 * time.Minute, say: s.bedBoard()},
		{topic: "glass/bed/second", every: 10 * time.Minute, say: s.flakyProbe()},
		{topic: "glass/far/temperature", every: 10 * time.Minute, say: s.number(warm("far-t"), 2, farT)},
		{topic: "glass/far/moisture", every: 10 * time.Minute, say: s.number(damp("far-m", 0.4), 1, farM)},
		{topic: "glass/air/temperature", every: 10 * time.Minute, say: s.number(warm("glass-air"), 2, glassT)},
		{topic: "shed/air", every: 10 * time.Minute, say: s.shedAir()},
		{topic: "shed/node/battery", every: 2 * time.Hour, say: s.shedBattery},
		{topic: "prop/cabinet", every: 10 * time.Minute, say: s.cabinetBoard()},
		{topic: "prop/air", every: 10 * time.Minute, say: s.number(warm("prop-air"), 1, cabinetT)},
		{topic: "yard/air", every: 10 * time.Minute, retain: true, say: s.number(warm("yard-air"), 1, yardT)},
		{topic: "yard/trough", every: 15 * time.Minute, say: s.troughBoard()},
		{topic: "store/air", every: 30 * time.Minute, say: s.number(warm("store-air"), 1, storeT)},
		{topic: "store/crate/t", every: 30 * time.Minute, say: s.number(warm("crate-t"), 2, crateT)},
		{topic: "store/crate/m", every: 30 * time.Minute, say: s.number(damp("crate-m", 0.5), 0, crateM)},
		{topic: "store/crate/battery", every: 6 * time.Hour, say: s.crateBattery},
		{topic: "store/barrel", every: time.Hour, say: s.barrelBoard()},
	}
	for i := range s.site.trays {
		topic := fmt.Sprintf("shed/tray/%d", i+1)
		list = append(list, device{topic: topic, every: 10 * time.Minute, say: s.trayBoard(i)})
	}
	for i := range list {
		list[i].begin(s.dice.Named(list[i].topic), s.site.origin, s.start)
	}
	return list
}

// A pick finds one probe's truth and the air about its electronics.
type pick func(*site) (truth float64, air physics.Air)

func farT(s *site) (float64, physics.Air)     { return s.far.TempC(), s.airs.glass }
func farM(s *site) (float64, physics.Air)     { return s.far.Moisture(), s.airs.glass }
func nearT(s *site) (float64, physics.Air)    { return s.near.TempC(), s.airs.glass }
func nearM(s *site) (float64, physics.Air)    { return s.near.Moisture(), s.airs.glass }
func glassT(s *site) (float64, physics.Air)   { return s.airs.glass.TempC, s.airs.glass }
func shedT(s *site) (float64, physics.Air)    { return s.airs.shed.TempC, s.airs.shed }
func cabinetT(s *site) (float64, physics.Air) { return s.airs.cabinet.TempC, s.airs.cabinet }
func yardT(s *site) (float64, physics.Air)    { return s.airs.yard.TempC, s.airs.yard }
func storeT(s *site) (float64, physics.Air)   { return s.airs.store.TempC, s.airs.store }
func boxT(s *site) (float64, physics.Air)     { return s.box.TempC(), s.airs.cabinet }
func boxM(s *site) (float64, physics.Air)     { return s.box.Moisture(), s.airs.cabinet }
func troughT(s *site) (float64, physics.Air)  { return s.trough.TempC(), s.airs.yard }
func troughM(s *site) (float64, physics.Air)  { return s.trough.Moisture(), s.airs.yard }
func crateT(s *site) (float64, physics.Air)   { return s.crate.TempC(), s.airs.store }
func crateM(s *site) (float64, physics.Air)   { return s.crate.Moisture(), s.airs.store }
func barrelT(s *site) (float64, physics.Air)  { return s.barrel.TempC(), s.airs.store }
func barrelM(s *site) (float64, physics.Air)  { return s.barrel.Moisture(), s.airs.store }

func trayT(i int) pick {
	return func(s *site) (float64, physics.Air) { return s.trays[i].TempC(), s.airs.shed }
}

func trayM(i int) pick {
	return func(s *site) (float64, physics.Air) { return s.trays[i].Moisture(), s.airs.shed }
}

// A gauge is a probe's make with a name that makes its noise its own.
type gauge struct {
	name string
	physics.Gauge
}

// warm is a digital temperature probe: sixteenths of a degree, half a degree
// of error at most (DS18B20 datasheet).
func warm(name string) gauge {
	return gauge{name, physics.Gauge{White: 0.04, Wander: 0.05, Step: 0.0625}}
}

// damp is a calibrated capacitive probe whose electronics feel the day.
func damp(name string, white float64) gauge {
	return gauge{name, physics.Gauge{White: white, Wander: 0.4, PerK: 0.06, Contact: 0.3}}
}

// reader ties a gauge to what it measures.
func (s *Sim) reader(g gauge, p pick) func(*site, time.Time) float64 {
	g.Dice = s.dice.Named("gauge " + g.name)
	return func(at *site, t time.Time) float64 {
		truth, air := p(at)
		return g.Read(t, truth, air.TempC)
	}
}

// number sends a bare number with so many decimals.
func (s *Sim) number(g gauge, decimals int, p pick) func(*site, time.Time) string {
	read := s.reader(g, p)
	return func(at *site, t time.Time) string {
		return strconv.FormatFloat(read(at, t), 'f', decimals, 64)
	}
}

// bedBoard sends °F, raw counts of a capacitive probe and its own RFC 3339
// time. The counts follow the two points of the configuration.
func (s *Sim) bedBoard() func(*site, time.Time) string {
	temp, moist := s.reader(warm("bed-t"), nearT), s.reader(damp("bed-m", 0.5), nearM)
	return func(at *site, t time.Time) string {
		counts := rawAt12 + (moist(at, t)-12)*(rawAt84-rawAt12)/(84-12)
		return fmt.Sprintf(`{"temp_f":%.1f,"soil":%.0f,"at":%q}`,
			temp(at, t)*9/5+32, math.Round(counts), t.UTC().Format(time.RFC3339))
	}
}

const (
	rawAt12 = 2850.0 // counts at 12 % of water
	rawAt84 = 1420.0 // counts at 84 %
)

// shedAir sends a number in a string.
func (s *Sim) shedAir() func(*site, time.Time) string {
	read := s.reader(warm("shed-air"), shedT)
	return func(at *site, t time.Time) string {
		return fmt.Sprintf(`{"celsius":"%.2f"}`, read(at, t))
	}
}

// trayBoard sends °C and moisture as a ratio.
func (s *Sim) trayBoard(i int) func(*site, time.Time) string {
	temp := s.reader(warm(fmt.Sprint("tray-t", i)), trayT(i))
	moist := s.reader(damp(fmt.Sprint("tray-m", i), 0.5), trayM(i))
	return func(at *site, t time.Time) string {
		return fmt.Sprintf(`{"t":%.2f,"m":%.3f}`, temp(at, t), moist(at, t)/100)
	}
}

// cabinetBoard stamps its messages in milliseconds since 1970.
func (s *Sim) cabinetBoard() func(*site, time.Time) string {
	temp, moist := s.reader(warm("box-t"), boxT), s.reader(damp("box-m", 0.4), boxM)
	return func(at *site, t time.Time) string {
		return fmt.Sprintf(`{"ts":%d,"temp":%.2f,"moisture":%.1f}`, t.UnixMilli(), temp(at, t), moist(at, t))
	}
}

// troughBoard nests its values.
func (s *Sim) troughBoard() func(*site, time.Time) string {
	temp, moist := s.reader(warm("trough-t"), troughT), s.reader(damp("trough-m", 0.6), troughM)
	return func(at *site, t time.Time) string {
		return fmt.Sprintf(`{"trough":{"celsius":%.2f,"percent":%.1f}}`, temp(at, t), moist(at, t))
	}
}

// barrelBoard has a coarse temperature probe: whole half degrees.
func (s *Sim) barrelBoard() func(*site, time.Time) string {
	coarse := gauge{"barrel-t", physics.Gauge{White: 0.05, Step: 0.5}}
	temp, moist := s.reader(coarse, barrelT), s.reader(damp("barrel-m", 0.5), barrelM)
	return func(at *site, t time.Time) string {
		return fmt.Sprintf(`{"t":%.1f,"m":%.1f}`, temp(at, t), moist(at, t))
	}
}

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

// Batteries run down evenly. The keeper brings a new one some rounds after the
// old one got low: see careForBatteries.
const (
	crateFullV  = 3.92
	cratePerDay = 0.025
	crateLowV   = 3.3 // the configuration's low

	shedFullPct = 96.0
	shedPerDay  = 0.9
	shedLowPct  = 20.0
)

// batteries remembers when each was last changed.
type batteries struct{ crate, shed time.Time }

func (b batteries) crateV(t time.Time) float64 {
	return crateFullV - cratePerDay*t.Sub(b.crate).Hours()/24
}

func (b batteries) shedPct(t time.Time) float64 {
	return max(0, shedFullPct-shedPerDay*t.Sub(b.shed).Hours()/24)
}

func (s *Sim) crateBattery(_ *site, t time.Time) string {
	return fmt.Sprintf("%.2f", s.batteries.crateV(t))
}

func (s *Sim) shedBattery(_ *site, t time.Time) string {
	return fmt.Sprintf("%.0f", s.batteries.shedPct(t))
}
