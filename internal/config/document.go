package config

import (
	"time"

	"binwatchd/internal/farm"
)

// A document is a file as it was written: every value with its place, nothing
// yet looked up anywhere else. Its parts mirror the keys one to one.
type document struct {
	farm     val[string]
	units    val[farm.Units]
	timezone val[string]
	broker   val[brokerDoc]
	journal  val[journalDoc]
	control  val[string]
	influx   val[influxDoc]
	page     val[pageDoc]
	mail     val[mailDoc]
	life     val[lifeDoc]
	probes   val[[]entry[probeDoc]]
	bins     val[[]entry[binDoc]]
	species  val[[]entry[speciesDoc]]
	feeds    val[[]entry[time.Duration]]
	need     val[[]val[needDoc]]
	tell     val[[]val[tellerDoc]]
	rounds   val[roundsDoc]
}

type brokerDoc struct {
	url      val[string]
	urls     val[[]val[string]]
	listen   val[string]
	user     val[string]
	password val[Secret]
	tls      val[clientTLSDoc]
	clientID val[string]
	prefix   val[string]
	keeper   val[loginDoc]
}

type loginDoc struct {
	user     val[string]
	password val[Secret]
}

type clientTLSDoc struct{ ca, cert, key val[string] }

type serverTLSDoc struct{ cert, key val[string] }

type journalDoc struct {
	path  val[string]
	flush val[time.Duration]
	keep  val[time.Duration]
}

type influxDoc struct {
	url       val[string]
	flavour   val[Flavour]
	org       val[string]
	bucket    val[string]
	token     val[Secret]
	database  val[string]
	retention val[string]
	user      val[string]
	password  val[Secret]
}

type pageDoc struct {
	listen   val[string]
	password val[Secret]
	tls      val[serverTLSDoc]
	open     val[[]val[Part]]
}

type mailDoc struct {
	server   val[string]
	from     val[string]
	user     val[string]
	password val[Secret]
	security val[Security]
	ca       val[string]
}

type lifeDoc struct {
	url   val[Secret]
	every val[time.Duration]
}

type probeDoc struct {
	topic       val[string]
	value       val[string]
	time        val[string]
	measures    val[farm.Quantity]
	unit        val[farm.Unit]
	every       val[time.Duration]
	calibration val[[]val[pointDoc]]
	low         val[level]
	of          val[[]val[string]]
}

// A pointDoc is a calibration point; the true value stands under the name of
// what the probe measures.
type pointDoc struct {
	raw         val[float64]
	temperature val[float64]
	moisture    val[float64]
	battery     val[level]
	others      byQuantity[float64] // of quantities that are all in their row
}

type binDoc struct {
	species val[[]partDoc]
	volume  val[float64]
	dryMass val[float64]
	worms   val[float64]
	ambient val[string]
	zones   val[[]entry[zoneDoc]]
	pace    paceDoc
}

type zoneDoc struct {
	aim         val[farm.Aim]
	probes      val[[]val[string]]
	share       val[float64]
	dryMass     val[float64]
	temperature val[bandsDoc]
	moisture    val[bandsDoc]
	limits      val[byQuantity[farm.Band]]
	pace        paceDoc
}

// byQuantity holds a value for each of some quantities.
type byQuantity[V any] map[farm.Quantity]*val[V]

// at gives where the value of a quantity is kept.
func (m *byQuantity[V]) at(q farm.Quantity) *val[V] {
	if *m == nil {
		*m = byQuantity[V]{}
	}
	if (*m)[q] == nil {
		(*m)[q] = &val[V]{}
	}
	return (*m)[q]
}

// A paceDoc is how patient a bin or a zone is; what a zone leaves out it takes
// from its bin.
type paceDoc struct {
	patience  val[time.Duration]
	margin    val[marginDoc]
	lookAhead val[lookAheadDoc]
}

type marginDoc struct{ temperature, moisture val[float64] }

type lookAheadDoc struct{ heating, drying val[time.Duration] }

type bandsDoc struct{ thrive, survive val[farm.Band] }

// A partDoc is one species of a bin, with its share where the file gives one.
type partDoc struct {
	species string
	at      place
	percent val[float64]
}

type speciesDoc struct {
	name        val[string]
	latin       val[string]
	temperature val[bandsDoc]
	moisture    val[bandsDoc]
	cardinal    val[cardinalDoc]
	cocoon      val[cocoonDoc]
}

type cardinalDoc struct{ min, best, max val[float64] }

type cocoonDoc struct{ base, degreeDays, hatchlings val[float64] }

type needDoc struct {
	castings val[float64]
	by       val[date]
}

type tellerDoc struct {
	mail    val[string]
	push    val[Secret]
	webhook val[string]
	secret  val[Secret]
	about   val[[]val[string]]
	bins    val[[]val[string]]
	quiet   val[Window]
	remind  val[time.Duration]
	perHour val[float64]
}

type roundsDoc struct {
	send val[Schedule]
	to   val[[]val[string]]
}
