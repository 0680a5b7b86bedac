package ahead

import (
	"fmt"
	"math"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// An account is the castings of a farm: in tubs, in sifting zones, and ripening in the
// bins. All amounts are litres of sifted castings.
type account struct {
	*Book
	now    time.Time
	stored float64
	screen husbandry.Estimate // what goes through, by the farm's own siftings where there are some
	beds   []bed
	pace   float64 // sifted a day, of late; 0: not known
	lot    float64 // what is usually sifted at once; 0: not known
	untold int     // feedings and siftings without an amount
}

// A bed is a bin in which castings are made.
type bed struct {
	*farm.Bin
	activity
	in      []inflow
	began   time.Time // when it was first heard of
	perDay  float64   // dry matter that goes in from now on, kg
	stoodL  float64   // in its living zones when it began
	used    float64   // of what ripened: it was sifted, or lies in a sifting zone
	ends    []end
	through husbandry.Estimate // castings of a kg of dry matter
}

type inflow struct {
	at time.Time
	kg float64 // dry
}

// An end is a sifting zone: when it opens, and what of it goes through the screen.
type end struct {
	zone   string
	litres float64
	opens  time.Time
	open   bool
}

// newAccount reckons how the castings stand, for questions up to a time.
func newAccount(b *Book, until time.Time) *account {
	a := &account{Book: b, now: b.View.At, screen: b.screen()}
	for _, v := range b.View.Bins {
		for _, z := range v.Zones {
			a.stored += z.StoredL
		}
	}
	for i := range b.Farm.Bins {
		if bin := &b.Farm.Bins[i]; len(husbandry.WormsOf(b.Farm, *bin)) > 0 || hasAim(bin, farm.Sifting) {
			a.beds = append(a.beds, a.bed(bin, until))
		}
	}
	a.pace, a.lot = a.siftings()
	return a
}

func hasAim(b *farm.Bin, aim farm.Aim) bool {
	return slices.ContainsFunc(b.Zones, func(z farm.Zone) bool { return z.Aim == aim })
}

// takenOut are the lines by which castings leave a bed.
var takenOut = []farm.JotKind{farm.Sifted, farm.Emptied, farm.Sold, farm.Used, farm.Spread}

func (a *account) bed(bin *farm.Bin, until time.Time) bed {
	c := bed{Bin: bin, activity: a.activity(bin, until), through: husbandry.CastingsPerKg, began: a.began(bin)}
	out := 0.0
	for _, j := range a.Jots[bin.Name] {
		switch kg, told := husbandry.DryIn(j); {
		case !told, j.What == farm.Sifted && j.Litres == 0:
			a.untold++
		case kg > 0:
			c.in = append(c.in, inflow{j.At, kg})
		case slices.Contains(takenOut, j.What):
			out += j.Litres
		}
	}
	c.perDay = a.perDay(bin)
	full, lies := 0.0, 0.0
	for _, z := range bin.Zones {
		switch z.Aim {
		case farm.Living:
			c.stoodL += z.HoldsL
		case farm.Sifting:
			e := a.end(bin, &z)
			c.ends = append(c.ends, e)
			full, lies = full+fullOf(bin, &z)*a.screen.Middle, lies+e.litres
		}
	}
	// What stood in the sifting zones goes first. What was sifted beyond that, and what lies
	// there beyond that, has ripened in the bin.
	c.used = max(0, out-full) + max(0, lies-max(0, full-out))
	c.learn(a.now)
	return c
}

// fullOf is what a sifting zone held when it was first watched.
func fullOf(bin *farm.Bin, z *farm.Zone) float64 {
	if z.HoldsL > 0 {
		return z.HoldsL
	}
	return bin.VolumeL * z.Share
}

// learn takes it that a bin which has given more than it was thought to have made makes
// more of the same, up to twice as much: beyond that something was not written down.
func (c *bed) learn(now time.Time) {
	made := c.made(now)
	if made > 0 && c.used > made {
		c.through.Middle *= min(2, c.used/made)
		c.through.LogSD /= 2
	}
}

// made is what has ripened by a time, since it began.
func (c *bed) made(t time.Time) float64 { return c.ripened(t, t) }

// ripened is what has ripened by a time of what goes in until another.
func (c *bed) ripened(t, fedUntil time.Time) float64 {
	dry := 0.0
	for _, in := range c.in {
		dry += in.kg * husbandry.Ripe(c.days(in.at, t))
	}
	return dry*c.through.Middle + c.stoodRipe(t)
}

// stoodRipe is what has ripened of what stood in the living zones at the beginning. It was
// of all ages, and had lost half of what it has to lose: a choice.
func (c *bed) stoodRipe(t time.Time) float64 {
	const ages, left = 9, 0.75
	gone, part := c.days(c.began, t), 0.0
	for i := range ages {
		part += husbandry.Ripe(gone+husbandry.RipeBy*(float64(i)+0.5)/ages) / ages
	}
	dry, kept := husbandry.GuessDry(farm.Living, c.stoodL).Kg, husbandry.GuessDry(farm.Keeping, 1).Kg
	return part * left * dry / kept
}

// ripe is what lies ripe in the living zones of a bed at a time to come, if it is fed on
// as of late.
func (c *bed) ripe(now, t time.Time) float64 {
	l := c.ripened(t, now)
	for at := now.Add(day / 2); at.Before(t); at = at.Add(day) {
		l += c.perDay * c.through.Middle * husbandry.Ripe(c.days(at, t))
	}
	return max(0, l-c.used)
}

// direct tells whether castings come out of a bed without an end that dries first.
func (a *account) direct(c *bed) bool {
	return len(c.ends) == 0 && slices.ContainsFunc(a.Jots[c.Name], func(j farm.Jot) bool { return j.What == farm.Sifted })
}

// began is when anything is first known of a bin.
func (a *account) began(bin *farm.Bin) time.Time {
	first := a.now
	if jots := a.Jots[bin.Name]; len(jots) > 0 && jots[0].At.Before(first) {
		first = jots[0].At
	}
	for _, z := range bin.Zones {
		if s := a.Warm[farm.Place{Bin: bin.Name, Zone: z.Name}]; len(s) > 0 && s[0].At.Before(first) {
			first = s[0].At
		}
	}
	return first
}

// paceDays is how far back a pace is drawn from.
const paceDays = 90

// leastPace is the shortest time that makes a pace.
const leastPace = 14 * day

// perDay is the dry matter that has gone into a bin each day of late, with what is
// supposed. The first feeding stands for the time before it, which is not known: it
// counts for the time that it does.
func (a *account) perDay(bin *farm.Bin) float64 {
	kg, first := 0.0, time.Time{}
	for _, j := range a.Jots[bin.Name] {
		if in, _ := husbandry.DryIn(j); in > 0 && a.now.Sub(j.At) <= paceDays*day {
			if first.IsZero() {
				first = j.At
			}
			kg += in * a.factor(j)
		}
	}
	if kg == 0 {
		return 0
	}
	return kg / (max(a.now.Sub(first), 2*leastPace).Hours() / 24)
}

// siftings gives the litres sifted a day of late and the usual lot. What the first one
// brought had gathered before it, so it begins the time and does not count.
func (a *account) siftings() (perDay, lot float64) {
	var all []farm.Jot
	for _, bin := range a.Farm.Bins {
		for _, j := range a.Jots[bin.Name] {
			if j.What == farm.Sifted && j.Litres > 0 && a.now.Sub(j.At) <= paceDays*day {
				j.Litres *= a.factor(j)
				all = append(all, j)
			}
		}
	}
	if len(all) == 0 {
		return 0, a.pan()
	}
	first := slices.MinFunc(all, func(x, y farm.Jot) int { return x.At.Compare(y.At) }).At
	var lots []float64
	for _, j := range all {
		lots = append(lots, j.Litres)
		if !j.At.Equal(first) {
			perDay += j.Litres
		}
	}
	slices.Sort(lots)
	if pan := a.pan(); pan > 0 {
		lots = []float64{pan}
	}
	return perDay / (max(a.now.Sub(first), leastPace).Hours() / 24), lots[len(lots)/2]
}

// pan is the keeper's own pan, which castings are counted in; 0 where there is none.
func (b *Book) pan() float64 {
	for _, v := range b.Farm.Vessels {
		if v.Name == "pan" {
			return v.Holds.Litres
		}
	}
	return 0
}

// screen is the part of what lies in a sifting zone that goes through the screen: as is
// common, and as it was whenever the keeper said that a zone was finished.
func (b *Book) screen() husbandry.Estimate {
	const seenSD, least, most = 0.3, 0.1, 1.2 // of the logarithm of one such; beyond these a line is missing
	g := husbandry.ThroughScreen
	weight := g.LogSD * g.LogSD / (seenSD * seenSD)
	log, n := math.Log(g.Middle), 1.0
	for i := range b.Farm.Bins {
		bin := &b.Farm.Bins[i]
		for _, z := range bin.Zones {
			if z.Aim != farm.Sifting {
				continue
			}
			taken, whole := 0.0, true
			for _, j := range b.Jots[bin.Name] {
				switch of := j.Zone == z.Name || j.Zone == "" && j.What == farm.Sifted; {
				case !of:
				case j.What == farm.Sifted:
					taken, whole = taken+j.Litres, whole && j.Litres > 0
				case j.What == farm.Finished, j.What == farm.Emptied && j.Litres == 0:
					if part := taken / fullOf(bin, &z); whole && part >= least && part <= most {
						log, n = log+weight*math.Log(part), n+weight
					}
					taken, whole = 0, true
				}
			}
		}
	}
	return husbandry.Estimate{Middle: math.Exp(log / n), LogSD: g.LogSD / math.Sqrt(n)}
}

// end is how a sifting zone stands. One of which nothing is foreseen is taken to need as
// long as a wet end does.
func (a *account) end(bin *farm.Bin, z *farm.Zone) end {
	e := end{zone: z.Name, opens: a.now.Add(days(husbandry.DriesInDays))}
	zv, known := a.View.Zone(bin.Name, z.Name)
	if !known {
		return e
	}
	if full := fullOf(bin, z); zv.UnsiftedL > 0 {
		// What was taken has gone through: that part is known. Until the keeper says that the
		// zone is finished, some of what lies there will as well: a choice.
		e.litres = max(a.screen.Middle/2*zv.UnsiftedL, full*a.screen.Middle-(full-zv.UnsiftedL))
	}
	if l := zv.Level(farm.Moisture); l != nil && !l.Bands.IsZero() && l.Value <= l.Bands.Thrive.High {
		e.opens, e.open = a.now, true // too dry is damped
	}
	for _, o := range zv.Outlook {
		if o.Condition == farm.SiftReady && !e.open {
			e.opens = o.Forecast.Crosses
		}
	}
	return e
}

func days(n float64) time.Duration { return time.Duration(n * float64(day)) }

// A sum is litres with the variance of their error.
type sum struct{ litres, variance float64 }

func (s *sum) add(litres, sd float64) { s.litres, s.variance = s.litres+litres, s.variance+sd*sd }

// supply is what can have been sifted by a time: what lies in ends that are open by then,
// and what ripens in beds that are sifted as they are.
func (a *account) supply(t time.Time) (s sum) {
	lies, ripe := 0.0, 0.0
	for i := range a.beds {
		c := &a.beds[i]
		for _, e := range c.ends {
			if !e.opens.After(t) {
				lies += e.litres
			}
		}
		if a.direct(c) {
			ripe += c.ripe(a.now, t)
		} else {
			ripe += min(c.ripe(a.now, t.Add(-days(husbandry.DriesInDays))), a.filledAnew(c, t))
		}
	}
	s.add(lies, lies*a.screen.LogSD) // one guess for all ends, so their errors go together
	s.add(ripe, ripe*husbandry.CastingsPerKg.LogSD)
	return s
}

// filledAnew is what goes through the screen of a bed's ends by a time beyond what lies in
// them now: an end that is sifted is filled with what is ripe, and dries again. That takes a
// season; a choice.
func (a *account) filledAnew(c *bed, t time.Time) (litres float64) {
	const season = 90 * day
	for _, e := range c.ends {
		zone, _ := c.ZoneByName(e.zone)
		if again := t.Sub(e.opens) / season; again > 0 {
			litres += float64(again) * fullOf(c.Bin, &zone) * a.screen.Middle
		}
	}
	return litres
}

const (
	storedSD = 0.05   // of what was measured in, relative; a choice
	paceSD   = 0.25   // of the pace to come, likewise
	reach80  = 1.2816 // standard deviations, Φ⁻¹(0.9)
)

// by is what there will be in tubs at a time, before anything is taken out: what is kept
// now, and what is sifted until then at the pace of late. Where there is none, all that
// can be.
func (a *account) by(t time.Time) (p farm.CastingsPoint, paced bool) {
	ahead := max(0, t.Sub(a.now).Hours()/24)
	more := a.supply(t)
	if at := a.pace * ahead; a.pace > 0 && at < more.litres {
		more, paced = sum{litres: at, variance: paceSD * paceSD * at * at}, true
	}
	if ahead == 0 {
		more = sum{}
	}
	kept := a.stored * husbandry.Kept(ahead)
	all := more
	all.add(kept, kept*storedSD)
	off := reach80 * math.Sqrt(all.variance)
	return farm.CastingsPoint{At: t.UTC(), Litres: all.litres, LowL: max(0, all.litres-off), HighL: all.litres + off}, paced
}

// curve is what there will be in tubs week by week until a time, while nothing is taken
// out.
func (a *account) curve(until time.Time) (out []farm.CastingsPoint) {
	for t := a.now; ; t = t.Add(7 * day) {
		if t.After(until) {
			t = until
		}
		p, _ := a.by(t)
		if out = append(out, p); !t.Before(until) {
			return out
		}
	}
}

// sources says where castings are and will come from until a time.
func (a *account) sources(until time.Time) (out []farm.CastingsSource) {
	u := a.Farm.Units
	add := func(bin, zone string, litres, sd float64, say string, args ...any) {
		if litres < 0.5 {
			return
		}
		s := farm.CastingsSource{Bin: bin, Zone: zone, Litres: litres, LowL: litres * math.Exp(-reach80*sd), HighL: litres * math.Exp(reach80*sd)}
		s.Text = fmt.Sprintf("%s: %s", a.Farm.SayPlace(bin, zone), fmt.Sprintf(say, args...))
		out = append(out, s)
	}
	for _, v := range a.View.Bins {
		for _, z := range v.Zones {
			add(z.Bin, z.Zone, z.StoredL, storedSD, "%s kept", u.Volume(z.StoredL))
		}
	}
	for i := range a.beds {
		c := &a.beds[i]
		for _, e := range c.ends {
			when := "dry enough to sift"
			if !e.open {
				when = "dry enough to sift about " + a.Farm.Dates().Day(e.opens, a.now)
			}
			add(c.Name, e.zone, e.litres, a.screen.LogSD, "%s will go through the screen, %s", u.Volume(e.litres), when)
		}
		now, then := c.ripe(a.now, a.now), c.ripe(a.now, until)
		add(c.Name, "", then, c.through.LogSD, "%s ripe in the bedding now, %s by %s if none is taken out", u.Volume(now), u.Volume(then), a.Farm.Dates().Day(until, a.now))
	}
	return out
}

// notes say what the account leaves out.
func (a *account) notes() (out []string) {
	var tubs, beds []string
	for i := range a.Farm.Bins {
		bin := &a.Farm.Bins[i]
		fed := slices.ContainsFunc(a.Jots[bin.Name], func(j farm.Jot) bool { return j.What == farm.Fed || j.What == farm.Bedded })
		for _, z := range bin.Zones {
			switch {
			case z.Aim == farm.Keeping && z.HoldsL == 0 && !a.holdsSome(bin.Name, z.Name):
				tubs = append(tubs, a.Farm.SayPlace(bin.Name, z.Name))
			case z.Aim == farm.Living && z.HoldsL == 0 && !fed:
				beds = append(beds, a.Farm.SayPlace(bin.Name, z.Name))
			}
		}
	}
	if len(tubs) > 0 {
		out = append(out, fmt.Sprintf("What stood in %s at the start is not known and counts as nothing; holds: in the configuration tells it.", farm.SayFew(tubs)))
	}
	if len(beds) > 0 {
		out = append(out, fmt.Sprintf("Nothing was jotted as fed or bedded in %s, so nothing ripens there by this account.", farm.SayFew(beds)))
	}
	if a.untold > 0 {
		out = append(out, fmt.Sprintf("Lines of the logbook without an amount: %d; they are left out.", a.untold))
	}
	return out
}

// holdsSome tells whether castings are known to be kept in a zone.
func (a *account) holdsSome(bin, zone string) bool {
	z, _ := a.View.Zone(bin, zone)
	return z.StoredL > 0
}
