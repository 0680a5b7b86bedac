package rules

import (
	"fmt"
	"hash/fnv"
	"math"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/trend"
)

// lidOff is how long after a jot judging holds still: the lid is open, the
// probe may lie on the bench, and what it says then is no news.
const lidOff = time.Hour

// A bin is one container and the worms in it.
type bin struct {
	spec    *farm.Bin
	worms   []husbandry.Worms
	ambient *probe // nil when there is none
	room    *room  // that it stands in; nil when none is given
	zones   []*zone
}

// A zone is what conditions are mostly about.
type zone struct {
	bin         *bin
	spec        farm.Zone
	who         subject
	measured    []*measured // every quantity, in the order of farm.Quantities
	temp, moist *measured   // of those, the two that worms and husbandry go by
	aim         farm.Band   // of moisture: what water and bedding aim at
	records     []*record   // of every topic of a zone, in the order of farm.ConditionTable
	zoneMemory
}

// zoneMemory is the part that goes into a snapshot beside levels and records.
type zoneMemory struct {
	Hold       time.Time // judging holds still until then
	Husbandry  husbandryMemory
	LimitsName uint64 // of the limits in force; 0: not known
}

// A measured is one quantity of one zone: its probes, what it is held to, and
// how it stands.
type measured struct {
	*farm.QuantityRow
	probes  []*probe
	records []*record  // of the conditions that are raised past a limit
	bands   farm.Bands // as shown; zero: none
	margin  float64    // how far inside a limit counts as back
	level
	day          day      // of Steady, where AtOnce is given
	settling     settling // of moisture, after work at its probe
	below, above bound
}

// A bound is the limits on one side of a quantity, and how far they are passed.
type bound struct {
	edge
	hysteresis
}

// unlimited tells whether there is no limit on either side.
func (m *measured) unlimited() bool {
	return math.IsInf(m.below.mild(), 0) && math.IsInf(m.above.mild(), 0)
}

// stop halts the clocks of both sides.
func (m *measured) stop() {
	m.above.stop()
	m.below.stop()
}

var nan = math.NaN()

func newZone(f *farm.Farm, b *bin, spec farm.Zone, byID map[string]*probe) *zone {
	z := &zone{bin: b, spec: spec, who: subject{Bin: b.spec.Name, Zone: spec.Name}}
	z.Husbandry = husbandryMemory{Moist: trend.NewTrack(), Past: newPast()}
	for i := range farm.Quantities {
		m := &measured{QuantityRow: &farm.Quantities[i], below: never(farm.Below), above: never(farm.Above)}
		var given bool
		if m.margin, given = spec.Margin[m.Name]; !given {
			m.margin = m.Margin
		}
		z.measured = append(z.measured, m)
	}
	z.temp, z.moist = z.of(farm.Temperature), z.of(farm.Moisture)
	for _, id := range spec.Probes {
		p := byID[id]
		p.zone, p.who.Bin, p.who.Zone = z, z.who.Bin, z.who.Zone
		if m := z.of(p.spec.Measures); m != nil {
			m.probes, p.measured = append(m.probes, p), m
		}
	}
	z.addRecords()
	z.setLimits(f)
	z.LimitsName = z.limitsName()
	return z
}

// addRecords makes a record of every condition, of past-limit one for each
// quantity that may have limits.
func (z *zone) addRecords() {
	add := func(m *measured, what topic) {
		r := newRecord(about{who: z.who, what: what, zone: z, measured: m})
		if z.records = append(z.records, r); m != nil && r.row.Band {
			m.records = append(m.records, r)
		}
	}
	for _, row := range farm.ConditionTable {
		switch {
		case row.About != farm.AboutZone:
		case row.Name == farm.PastLimit:
			for _, m := range z.measured {
				if m.Limits {
					add(m, topic{row.Name, m.Name})
				}
			}
		default:
			add(z.of(row.Quantity), topic{condition: row.Name})
		}
	}
}

// of finds one quantity of a zone; nil for one that is in no row.
func (z *zone) of(q farm.Quantity) *measured {
	return first(z.measured, func(m *measured) bool { return m.Name == q })
}

// first is the first of a list that fits; nil where none does.
func first[T any](list []*T, fits func(*T) bool) *T {
	if i := slices.IndexFunc(list, fits); i >= 0 {
		return list[i]
	}
	return nil
}

// setLimits makes the limits that a zone is judged by. Heat is due a day sooner
// than cold, in which worms only rest.
func (z *zone) setLimits(f *farm.Farm) {
	temp, moist := husbandry.ZoneLimits(f, *z.bin.spec, z.spec)
	z.temp.bands, z.moist.bands = husbandry.ShownBands(f, *z.bin.spec, z.spec)
	z.temp.below.limit, z.temp.above.limit = byUrgency(temp.Low), byUrgency(temp.High)
	z.temp.below.limit[farm.Today] = math.Inf(-1)
	z.moist.below.limit, z.moist.above.limit = byUrgency(moist.Low), byUrgency(moist.High)
	_, own := husbandry.ZoneBands(f, *z.bin.spec, z.spec)
	if z.aim = own.Thrive; own.IsZero() {
		z.aim = husbandry.MoistureAim(z.bin.worms)
	}
	for _, m := range z.measured {
		if band, ok := z.spec.Limits[m.Name]; ok && m.Limits {
			m.below.limit[farm.Today], m.above.limit[farm.Today] = band.Low, band.High
			if _, given := z.spec.Margin[m.Name]; !given {
				m.margin = m.MarginIn(band)
			}
		}
	}
}

// byUrgency: past most of the worms' thrive bands is due today, past those of
// half of them soon, past survive now.
func byUrgency(s husbandry.Side) [farm.Now + 1]float64 {
	return [...]float64{farm.Soon: s.Half, farm.Today: s.Most, farm.Now: s.Harm}
}

// limitsName tells one set of limits from another: it is made of all that they
// are worked out from.
func (z *zone) limitsName() uint64 {
	h := fnv.New64a()
	fmt.Fprint(h, z.spec.Aim, z.spec.LookAhead, z.spec.Bands, z.spec.Limits, z.temp.bands, z.moist.bands, z.bin.spec.Species)
	for _, sp := range z.bin.worms {
		fmt.Fprint(h, sp.ID, sp.Temperature, sp.Moisture)
	}
	return h.Sum64()
}

// holding tells whether judging holds still at t.
func (z *zone) holding(t time.Time) bool { return t.Before(z.Hold) }

// record finds that of a condition that a zone has once.
func (z *zone) record(c farm.Condition) *record {
	return first(z.records, func(r *record) bool { return r.what.condition == c })
}

// A breach is a condition that goes by the level of a quantity, with the side of
// it on which the condition lies.
type breach struct {
	*measured
	*bound
	zone *zone
	rec  *record
}

// breach is how a condition stands that goes by a level; of any other it is empty.
func (r *record) breach() breach {
	m, side := r.measured, r.row.Side
	switch {
	case m == nil:
		return breach{}
	case side != farm.NoSide:
	case m.above.urgency() != farm.Calm:
		side = farm.Above
	case m.below.urgency() != farm.Calm:
		side = farm.Below
	case r.Side != farm.NoSide:
		side = r.Side
	case m.Value > (m.below.mild()+m.above.mild())/2: // nearer to the upper limits
		side = farm.Above
	}
	if side == farm.Above {
		return breach{m, &m.above, r.zone, r}
	}
	return breach{m, &m.below, r.zone, r}
}
