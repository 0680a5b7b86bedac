package ahead

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/trend"
)

// A list gathers what comes until a time.
type list struct {
	*Book
	*account
	until time.Time
	order map[string]int // of bins, as in the file
	out   []farm.Coming
}

// comings lists all that comes until a time, by day.
func (b *Book) comings(a *account, until time.Time) []farm.Coming {
	l := &list{Book: b, account: a, until: until, order: map[string]int{}}
	for i, bin := range b.Farm.Bins {
		l.order[bin.Name] = i
	}
	for _, v := range b.View.Bins {
		for i := range v.Zones {
			l.zone(&v.Zones[i])
		}
	}
	for i := range b.Farm.Bins {
		bin := &b.Farm.Bins[i]
		l.eggs(bin)
		l.season(bin)
	}
	l.probes()
	l.wanted()
	slices.SortStableFunc(l.out, func(a, b farm.Coming) int {
		return cmp.Or(a.On.Compare(b.On), cmp.Compare(l.order[a.Bin], l.order[b.Bin]))
	})
	return l.out
}

// A when is a day with the ends of its interval; those may be zero.
type when struct{ on, first, last time.Time }

func within(f farm.Forecast) when { return when{f.Crosses, f.Earliest, f.Latest} }

// add lists a thing that comes, if it does in time; what should have come already comes
// today. The n-th of its kind at a place is the same thing, whatever its day.
func (l *list) add(c farm.Coming, w when, n int) {
	today := l.midnight(l.now)
	day := func(t time.Time) time.Time {
		if t.IsZero() {
			return t
		}
		if t = l.midnight(t); t.Before(today) {
			return today
		}
		return t
	}
	if c.On, c.First, c.Last = day(w.on), day(w.first), day(w.last); w.on.IsZero() || c.On.After(l.until) {
		return
	}
	c.ID = strings.Join(slices.DeleteFunc([]string{c.Bin, c.Zone, c.Probe, string(c.Kind), fmt.Sprint(n)}, func(s string) bool { return s == "" }), "/")
	about := ""
	switch {
	case c.Bin != "":
		about = l.Farm.SayPlace(c.Bin, c.Zone) + ": "
	case c.Probe != "":
		about = "Probe " + c.Probe + ": "
	}
	c.Brief, c.Text = farm.Capital(about+cmp.Or(c.Brief, string(c.Kind))), about+c.Text
	l.out = append(l.out, c)
}

// kinds are what an act is called as a thing that comes.
var kinds = map[farm.JotKind]farm.ComingKind{
	farm.Watered: farm.ComesWater, farm.Fed: farm.ComesFood, farm.Bedded: farm.ComesBedding, farm.Turned: farm.ComesTurning,
}

// raised are what a raised condition asks for today.
var raised = map[farm.Condition]farm.ComingKind{
	farm.TooDry: farm.ComesWater, farm.FeedDue: farm.ComesFood, farm.TooWet: farm.ComesBedding, farm.Hatching: farm.ComesHatching,
}

// foreseen are what a forecast of the rules asks for, and how that is said.
var foreseen = map[farm.Condition]struct {
	kind farm.ComingKind
	says string
}{
	farm.Drying: {farm.ComesWater, "too dry by then, if it is not watered"}, farm.FeedDue: {farm.ComesFood, "its food is nearly eaten"},
	farm.Hatching: {farm.ComesHatching, "cocoons hatch; the young want a handful of fine food, and are lifted out when grown"},
}

func (l *list) zone(z *farm.ZoneView) {
	at := farm.Coming{Bin: z.Bin, Zone: z.Zone}
	has := map[farm.ComingKind]bool{}
	for _, r := range z.Rhythms {
		if c := at; kinds[r.What] != "" {
			c.Kind = kinds[r.What]
			has[c.Kind] = true
			l.again(c, r)
		}
	}
	for _, st := range l.View.Standing {
		if c := at; st.Bin == z.Bin && st.Zone == z.Zone && raised[st.Condition] != "" && !has[raised[st.Condition]] {
			c.Kind, c.Text = raised[st.Condition], st.Is()
			has[c.Kind] = true
			l.add(c, when{on: l.now}, 0)
		}
	}
	for _, o := range z.Outlook {
		if c, f := at, foreseen[o.Condition]; f.kind != "" && !has[f.kind] {
			c.Kind, c.Text = f.kind, f.says
			has[c.Kind] = true
			l.add(c, within(o.Forecast), 0)
		}
	}
	if z.Aim == farm.Sifting {
		l.window(z)
	}
}

// again lists a rhythm as often as it comes; the farther ahead, the less is known of the
// day.
func (l *list) again(c farm.Coming, r farm.Rhythm) {
	every := days(max(1, r.EveryDays))
	amount := ""
	switch u := l.Farm.Units; {
	case r.Litres > 0:
		amount = " " + u.Volume(r.Litres)
	case r.Kg > 0:
		amount = " " + u.Mass(r.Kg)
	}
	if r.Of != "" && amount != "" {
		amount += " of " + r.Of
	}
	for n := range 400 {
		wide := math.Sqrt(float64(n + 1))
		spread := func(t time.Time) time.Time {
			return r.Next.Add(every*time.Duration(n) + time.Duration(wide*float64(t.Sub(r.Next))))
		}
		if on := r.Next.Add(every * time.Duration(n)); !on.After(l.until) {
			c.Text = string(c.Kind) + amount + ", as usual"
			l.add(c, when{on, spread(r.Early), spread(r.Late)}, n)
			continue
		}
		return
	}
}

// window is when a sifting zone can be sifted, and how much of it there is.
func (l *list) window(z *farm.ZoneView) {
	e := l.endOf(z)
	if e.litres < 0.5 {
		return
	}
	c := farm.Coming{Bin: z.Bin, Zone: z.Zone, Kind: farm.ComesSifting, Brief: "dry enough to sift"}
	c.Text = "dry enough to sift; " + l.lots(e.litres) + " of what is left will go through the screen"
	w, closes := when{on: e.opens}, time.Time{}
	for _, o := range z.Outlook {
		switch o.Condition {
		case farm.SiftReady:
			w = within(o.Forecast)
		case farm.SiftPassing:
			closes = o.Forecast.Crosses
		}
	}
	switch {
	case e.open:
		c.Text = "can be sifted now; " + l.lots(e.litres) + " of what is left will go through the screen"
	case z.Level(farm.Moisture) == nil:
		return // nobody knows
	}
	if !closes.IsZero() {
		c.Text += ", until about " + l.Farm.Dates().Date(closes)
	}
	l.add(c, w, 0)
}

func (l *list) endOf(z *farm.ZoneView) end {
	bin, _ := l.Farm.BinByName(z.Bin)
	zone, _ := bin.ZoneByName(z.Zone)
	return l.end(&bin, &zone)
}

// lots writes litres as so many of the usual lots.
func (a *account) lots(litres float64) string {
	n := math.Round(litres / a.lot)
	switch {
	case a.lot > 0 && a.pan() > 0 && n <= 1:
		return "a pan"
	case a.lot > 0 && a.pan() > 0:
		return fmt.Sprintf("%.0f pans", n)
	case a.lot > 0 && n >= 2:
		return fmt.Sprintf("%.0f lots of %s", n, a.Farm.Units.Volume(a.lot))
	}
	return a.Farm.Units.Volume(litres)
}

// eggsSeen is the line of the logbook that cocoons were seen.
const eggsSeen farm.JotKind = "eggs"

// eggs are cocoons that were seen in a bin where worms live: of every age, so that half
// of their time was over. By the bin's own days, and as warm as it is from now on.
func (l *list) eggs(bin *farm.Bin) {
	var seen time.Time
	for _, j := range l.Jots[bin.Name] {
		if j.What == eggsSeen {
			seen = j.At
		}
	}
	if seen.IsZero() {
		return
	}
	warm, now := l.warmth(bin), l.warmNow(bin)
	for i, w := range husbandry.WormsOf(l.Farm, *bin) {
		hatches := func(begun float64) time.Time {
			for t := seen; t.Before(l.until.Add(day)); t = t.Add(day) {
				tempC, ok := warm.on(dayNumber(t))
				if !ok {
					tempC = now
				}
				if begun += husbandry.HatchRate(w.Species, tempC); begun >= 1 {
					return t
				}
			}
			return time.Time{}
		}
		if on := hatches(0.5); on.After(l.now.Add(-day)) {
			text := fmt.Sprintf("cocoons of %s that were seen on %s hatch; the young want fine, moist food", w.Name, l.Farm.Dates().Date(seen))
			l.add(farm.Coming{Bin: bin.Name, Kind: farm.ComesHatching, Text: text}, when{on, hatches(0.9), hatches(0.1)}, i+1)
		}
	}
}

// season is when a species leaves the band in which it does well where it stands, if the
// days to come are as warm as those of a year before.
func (l *list) season(bin *farm.Bin) {
	warm, year := l.warmth(bin), int64(365)
	mean := func(d int64) (float64, bool) { // of the week round a day, last year
		sum, n := 0.0, 0
		for k := d - year - 3; k <= d-year+3; k++ {
			if v, ok := warm.on(k); ok {
				sum, n = sum+v, n+1
			}
		}
		return sum / float64(n), n >= 4
	}
	today := dayNumber(l.now)
	for i, w := range husbandry.WormsOf(l.Farm, *bin) {
		band := w.Temperature.Thrive
		inside := band.Contains(l.warmNow(bin))
		for d := today + 1; inside && d <= dayNumber(l.until); d++ {
			v, ok := mean(d)
			if !ok || band.Contains(v) {
				continue
			}
			how := "colder"
			if v > band.High {
				how = "warmer"
			}
			on := l.now.Add(time.Duration(d-today) * day)
			text := fmt.Sprintf("%s than %s like from about now on, if it goes as a year ago: %s then on the mean of the week", how, w.Name, l.Farm.Units.Temperature(v))
			l.add(farm.Coming{Bin: bin.Name, Kind: farm.ComesSeason, Brief: how + " than " + w.Name + " like", Text: text}, when{on: on}, i)
			break
		}
	}
}

// probes lists batteries that run down and calibrations of moisture probes that are a year
// old by then.
func (l *list) probes() {
	for _, p := range l.Farm.Probes {
		c := farm.Coming{Probe: p.ID}
		switch {
		case p.Measures == farm.Battery:
			if c.Kind = farm.ComesBattery; l.isStanding(p.ID, farm.BatteryLow) {
				c.Text = "the battery is low"
				l.add(c, when{on: l.now}, 0)
			} else if w, ok := l.runsDown(p); ok {
				c.Text = "the battery will be low"
				l.add(c, w, 0)
			}
		case p.Measures == farm.Moisture && len(p.Calibration) > 0:
			c.Kind = farm.ComesCalibrate
			c.Text = "a year since it was first heard, so its calibration is as old unless it was done anew: hold it against a weighed sample"
			if first, heard := l.Heard[p.ID]; heard {
				years := math.Ceil(max(1, l.now.Sub(first).Hours()/24/365))
				l.add(c, when{on: first.Add(days(365 * years))}, 0)
			}
		}
	}
}

func (l *list) isStanding(probe string, c farm.Condition) bool {
	return slices.ContainsFunc(l.View.Standing, func(st farm.Standing) bool { return st.Probe == probe && st.Condition == c })
}

// runsDown is when a battery falls below its limit, by the line through its days of the last
// two months.
func (l *list) runsDown(p farm.Probe) (w when, ok bool) {
	const back, least = 60, 14 // days
	var x, y []float64
	for _, s := range l.Batteries[p.ID] {
		if ago := l.now.Sub(s.At).Hours() / 24; ago <= back {
			x, y = append(x, -ago), append(y, s.Mean)
		}
	}
	line, ok := trend.TheilSen(x, y)
	if !ok || len(x) < least || p.Low == 0 || line.PerUnit >= 0 {
		return w, false
	}
	ahead := (p.Low - line.Intercept) / line.PerUnit
	if ahead < 0 || ahead > farthestDays {
		return w, false
	}
	return when{on: l.now.Add(days(ahead))}, true
}

const farthestDays = 2 * 366

// wanted lists the days by which castings are wanted, and by which an end must be left to
// dry for them.
func (l *list) wanted() {
	for i, v := range l.needs() {
		if !v.By.After(l.now) {
			continue
		}
		u := l.Farm.Units
		text := fmt.Sprintf("%s of castings are wanted%s; %s are to be expected", farm.Capital(u.Volume(v.WantedL)), forWhat(v), u.VolumeRange(v.LowL, v.HighL))
		l.add(farm.Coming{Kind: farm.ComesNeed, Brief: "castings wanted", Text: text}, when{on: v.By}, i)
		if bed, start := l.secondEnd(v.By); bed != nil && v.ExpectedL < v.WantedL {
			text := fmt.Sprintf("the last day to let an end dry for castings by %s", l.Farm.Dates().Date(v.By))
			l.add(farm.Coming{Bin: bed.Name, Kind: farm.ComesNeed, Brief: "let an end dry", Text: text}, when{on: start}, i)
		}
	}
}
