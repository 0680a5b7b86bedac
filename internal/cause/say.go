package cause

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"binwatchd/internal/farm"
)

// A Said is a cause in words.
type Said struct {
	Title   string   // "Linden: heating off?"
	Brief   string   // one line of what it shows in
	Do      string   // once, for all of it
	Lines   []string // sentences
	List    []string // what it shows in, in the order in which to see to it; only where that is of use
	News    []string // those of List that were not told before
	Caution string
}

// Heard is what somebody knows of a fact already.
type Heard uint8

const (
	Unheard Heard = iota
	Worse         // it was told, and has become worse
	Before        // it was told as it stands
)

// Say puts a cause into words for somebody who has been told of some of it. air is nil
// where nothing is known of that.
func (c *Cause) Say(heard func(episode string) Heard, air *Air) Said {
	if c.Kind == Quiet {
		return c.sayQuiet()
	}
	row := c.Kind.row()
	s := Said{Title: c.Where() + ": " + row.Sudden, Do: row.Do}
	if air != nil && air.Usual {
		s.Title = c.Where() + ": " + row.Usual
	}
	s.Brief = c.count(heard)
	if air != nil {
		s.Brief = c.sayAir(*air) + "; " + s.Brief
	}
	s.Brief = farm.Capital(s.Brief)
	s.Lines = []string{s.Brief + "."}
	s.List, s.News = c.list(heard)
	if len(s.List) > 1 {
		s.Lines = append(s.Lines, "Act in this order:")
	}
	return s
}

// Shared is the cause as somebody reads it who looks at the farm.
func (c *Cause) Shared(air *Air) farm.Shared {
	said := c.Say(func(string) Heard { return Unheard }, air)
	s := farm.Shared{Title: said.Title, Brief: said.Brief, Do: said.Do, Caution: said.Caution, Episodes: c.Episodes()}
	if c.farm.HasRoom(c.Air) {
		s.Place = c.Air
	}
	for _, st := range slices.Concat(c.Facts, c.Covered) {
		s.Urgency = max(s.Urgency, st.Urgency)
	}
	return s
}

// Where names what shares a cause: a place, or the bins.
func (c *Cause) Where() string {
	if c.farm.HasRoom(c.Air) {
		return farm.Capital(c.Air)
	}
	const few = 3
	var names []string
	for _, st := range c.Facts {
		if name := farm.Capital(st.Bin); !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	if len(names) > few {
		return fmt.Sprintf("%d bins", len(names))
	}
	return farm.SayList(names)
}

func (c *Cause) sayAir(air Air) string {
	said := "Air " + c.farm.Units.Temperature(air.Value)
	if !air.Since.IsZero() {
		way := "below"
		if c.Kind == Heat {
			way = "above"
		}
		said += fmt.Sprintf(", %s %s since %s", way, c.farm.Units.Temperature(air.Limit), c.farm.Dates().Clock(air.Since, c.view.At))
	}
	return said
}

// count says in how many bins it shows, and how badly: "6 more bins in danger of cold: African 3, blue 2".
func (c *Cause) count(heard func(string) Heard) string {
	row := c.Kind.row()
	var harm, ill, coming []farm.Standing
	for _, st := range c.Facts {
		switch {
		case st.Condition.Row().Foreseen:
			coming = append(coming, st)
		case st.Urgency == farm.Now:
			harm = append(harm, st)
		default:
			ill = append(ill, st)
		}
	}
	before := c.known(heard)
	var said []string
	for _, part := range []struct {
		of    []farm.Standing
		words string
	}{{harm, row.Harm}, {ill, row.Ill}, {coming, row.Coming}} {
		fresh := count(part.of, func(st farm.Standing) bool { return heard(st.Episode) != Before })
		line := ""
		switch n := len(part.of); {
		case n == 0:
			continue
		case before == 0 || fresh == 0:
			line = bins(n, "") + " " + part.words
		case fresh == n:
			line = bins(n, "more ") + " " + part.words
		default:
			line = fmt.Sprintf("%s %s, %d in all", bins(fresh, "more "), part.words, n)
		}
		if worms := c.sayWorms(part.of); worms != "" {
			line += ": " + worms
		}
		said = append(said, line)
	}
	return strings.Join(said, "; ")
}

// known counts the facts of which somebody was told in an earlier letter.
func (c *Cause) known(heard func(string) Heard) int {
	return count(c.Facts, func(st farm.Standing) bool { return heard(st.Episode) != Unheard })
}

func bins(n int, more string) string {
	if n == 1 {
		return "1 " + more + "bin"
	}
	return fmt.Sprintf("%d %sbins", n, more)
}

// sayWorms counts zones by what suffers in them most: "African 3, blue 2, tub 1".
func (c *Cause) sayWorms(of []farm.Standing) string {
	if len(of) < 2 {
		return ""
	}
	n := map[string]int{}
	var names []string
	for _, st := range of {
		name := c.worms(st)
		if n[name]++; n[name] == 1 && name != "" {
			names = append(names, name)
		}
	}
	slices.SortStableFunc(names, func(a, b string) int { return cmp.Compare(n[b], n[a]) })
	for i, name := range names {
		names[i] = fmt.Sprintf("%s %d", name, n[name])
	}
	return strings.Join(names, ", ")
}

// worms is what suffers most in a zone, in a word; "" where that is not known.
func (c *Cause) worms(st farm.Standing) string {
	z, _ := c.view.Zone(st.Bin, st.Zone)
	for _, sp := range z.Species {
		if sp.Word == farm.InDanger {
			return strings.TrimSuffix(sp.Name, " worms")
		}
	}
	b, _ := c.farm.BinByName(st.Bin)
	switch {
	case z.Aim == farm.Keeping || z.Aim == farm.Sifting:
		return "castings"
	case len(b.Species) > 0:
		sp, _ := c.farm.SpeciesByID(b.Species[0].Species)
		return strings.TrimSuffix(cmp.Or(sp.Name, b.Species[0].Species), " worms")
	}
	return ""
}

// list has a line for each zone: "Linden-03 (African): too cold at 9 °C".
func (c *Cause) list(heard func(string) Heard) (lines, news []string) {
	before := c.known(heard)
	for _, st := range c.Facts {
		line := c.farm.SayPlace(st.Bin, st.Zone)
		if worms := c.worms(st); worms != "" {
			line += " (" + worms + ")"
		}
		line += ": " + cmp.Or(st.Brief, st.Is())
		switch how := heard(st.Episode); {
		case how == Worse:
			line += " (worse)"
		case how == Unheard && before > 0:
			line += " (new)"
		}
		lines = append(lines, line)
		if heard(st.Episode) != Before {
			news = append(news, line)
		}
	}
	return lines, news
}

// sayQuiet is about probes that no longer speak.
func (c *Cause) sayQuiet() Said {
	n, words := len(c.Probes), faults[c.Fault]
	s := Said{Title: words.title, Do: words.do, Caution: words.caution}
	if c.Fault == Gateway {
		s.Title, s.Do = fmt.Sprintf(words.title, c.Gateway), fmt.Sprintf(words.do, c.Gateway)
	}
	since := c.farm.Dates().Clock(c.Since, c.view.At)
	said := fmt.Sprintf("%d probes silent since %s", n, since)
	switch where := c.inOne(); {
	case c.Fault == NoBroker || c.Fault == NoProbe:
		s.Title += " since " + since
	case c.Fault == Gateway:
		s.Title += ": " + said
	case where != "":
		s.Title = where + ": " + said
	default:
		s.Title = said
	}
	var not, part []string
	for _, b := range c.farm.Bins {
		for _, z := range b.Zones {
			name := farm.SayPlace(b.Name, z.Name, len(b.Zones) == 1)
			switch silent := count(z.Probes, func(id string) bool { return slices.Contains(c.Probes, id) }); {
			case silent == 0:
			case silent == len(z.Probes):
				not = append(not, name)
			default:
				part = append(part, name)
			}
		}
	}
	if len(not) > 0 {
		s.Lines = append(s.Lines, fmt.Sprintf("%s %s not judged.", farm.SayNames(not), are(not)))
	}
	if len(part) > 0 {
		s.Lines = append(s.Lines, fmt.Sprintf("%s %s judged by other probes alone.", farm.SayNames(part), are(part)))
	}
	if len(s.Lines) > 0 {
		s.Brief = strings.TrimSuffix(s.Lines[0], ".")
	}
	s.Lines = append(s.Lines, fmt.Sprintf("Silent (%d): %s.", n, farm.SayNames(c.Probes)))
	return s
}

func are(names []string) string {
	if len(names) == 1 {
		return "is"
	}
	return "are"
}

// inOne names the place in which all probes are; "" where that is not one.
func (c *Cause) inOne() string {
	place := ""
	for i, id := range c.Probes {
		at := cmp.Or(c.farm.RoomOf(c.farm.ZoneOf(id).Bin), c.farm.AirOf(id))
		if at == "" || i > 0 && at != place {
			return ""
		}
		place = at
	}
	return farm.Capital(place)
}

// SayOver says of what is over in some places, or of some probes, that it came of one cause.
func (k Key) SayOver(f *farm.Farm, of []string) (title, all string) {
	if k.Kind != Quiet {
		where := ""
		if f.HasRoom(k.Air) {
			where = farm.Capital(k.Air) + ": "
		}
		return fmt.Sprintf("%s%s %s", where, bins(len(of), ""), k.Kind.row().Over), farm.SayNames(of)
	}
	var sorted, gateways []string
	for _, p := range f.Probes {
		if slices.Contains(of, p.ID) {
			sorted = append(sorted, p.ID)
			if !slices.Contains(gateways, p.Via) {
				gateways = append(gateways, p.Via)
			}
		}
	}
	title = fmt.Sprintf("%d probes speak again", len(of))
	if len(gateways) == 1 && gateways[0] != "" {
		title = fmt.Sprintf("Gateway %s: %s", gateways[0], title)
	}
	return title, farm.SayNames(sorted)
}
