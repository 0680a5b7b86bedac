package page

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"binwatchd/internal/farm"
)

const (
	fewBins  = 12 // up to so many each is shown with its curves
	openRows = 30 // up to so many rows lie open, needy or not
)

// A strip is what is in one place, bins or probes, in short rows.
type strip struct {
	N    int // which one
	Name string
	Many string // how many there are
	Odd  []row  // what wants a hand or is not known, the most needy first
	Calm []row  // the rest, in the order of the farm
	Says string // what the calm ones are like
	Open bool   // the calm ones need not be unfolded
}

// A row is one bin or probe in a line: its name and the one number that matters.
type row struct {
	Title, URL, Shape string
	Value             string // "–" where none is believed now; "" where it does not matter
	Word              string // what is the matter; "" when nothing is
	place             string // in which it stands
	need              int
	bin               farm.BinView // that it is of, or
	Probe             *probeView
}

const noValue = "–"

// strips shares rows out by place, in the order of the file, those of no place last;
// only those of which every word of find is said. What calm ones are like is for says.
func (v *visit) strips(rows []row, noun, find string, says func(calm []row) string) (all []strip) {
	var places []string
	for _, room := range v.Farm.Rooms {
		places = append(places, room.Name)
	}
	for i, place := range append(places, "") {
		s := strip{N: i, Name: farm.Capital(place), Open: find != "" || len(rows) <= openRows}
		switch {
		case place == "" && len(places) == 0:
			s.Name = "All " + noun + "s"
		case place == "":
			s.Name = "Elsewhere"
		}
		for _, r := range rows {
			switch {
			case r.place != place || !found(find, s.Name, r.Title, r.Value, r.Word):
			case r.need > 1:
				s.Odd = append(s.Odd, r)
			default:
				s.Calm = append(s.Calm, r)
			}
		}
		n := len(s.Odd) + len(s.Calm)
		if n == 0 {
			continue
		}
		if s.Many = fmt.Sprintf("%d %ss", n, noun); n == 1 {
			s.Many = "1 " + noun
		}
		slices.SortStableFunc(s.Odd, func(a, b row) int { return b.need - a.need })
		s.Says = says(s.Calm)
		all = append(all, s)
	}
	return all
}

// only gives the address of the one thing that was found; "" where there are more, or
// none.
func only(all []strip) string {
	if len(all) != 1 || len(all[0].Odd)+len(all[0].Calm) != 1 {
		return ""
	}
	return slices.Concat(all[0].Odd, all[0].Calm)[0].URL
}

// binStrips are the bins by place.
func (v *visit) binStrips(find string) []strip {
	var rows []row
	for _, b := range v.View.Bins {
		rows = append(rows, v.row(b))
	}
	return v.strips(rows, "bin", find, v.sayCalm)
}

// found tells whether every word of what is looked for is in one of the texts; the
// script of the page finds the same.
func found(find string, texts ...string) bool {
	text := strings.ToLower(strings.Join(texts, " "))
	return !slices.ContainsFunc(strings.Fields(strings.ToLower(find)), func(word string) bool { return !strings.Contains(text, word) })
}

// row makes the row of a bin: of what is most urgent in it, else of what is not known,
// else of the level that is farthest out.
func (v *visit) row(b farm.BinView) row {
	row := row{Title: farm.Capital(b.Name), URL: binURL(b.Name), place: v.Farm.RoomOf(b.Name), bin: b}
	var most *raisedView
	var unsure bool
	for _, z := range b.Zones {
		for _, r := range v.raisedIn[farm.Place{Bin: z.Bin, Zone: z.Zone}] {
			if need := r.need(); need > row.need {
				row.need, most = need, &r
			}
		}
		unsure = unsure || len(z.Unsure(v.View.At, v.dates())) > 0
	}
	switch {
	case most != nil && (most.Quiet == "" || !unsure):
		row.Value, row.Shape, row.Word = v.valueOf(b, most), "u-"+most.Urgency.String(), most.Is()
		if most.Quiet != "" {
			row.Word += ", " + most.Quiet
		}
	case unsure:
		row.need, row.Value, row.Shape, row.Word = 2, noValue, "p-none", "not all is known"
		if v.blind(b) {
			row.Word = "can't be judged"
		}
	default:
		v.farthest(b, &row)
	}
	return row
}

// need is how much a condition wants a hand: 1 quiet, then by urgency.
func (r raisedView) need() int {
	if r.Quiet != "" {
		return 1
	}
	return 1 + int(r.Urgency)
}

// blind tells whether no zone of a bin can be judged.
func (v *visit) blind(b farm.BinView) bool {
	return !slices.ContainsFunc(b.Zones, func(z farm.ZoneView) bool { return z.Unjudged == "" })
}

// valueOf is the level that a condition speaks of; "" where it speaks of none.
func (v *visit) valueOf(b farm.BinView, r *raisedView) string {
	q := v.quantityOf(r)
	if q == "" {
		return ""
	}
	for _, z := range b.Zones {
		if level := z.Level(q); z.Zone == r.Where.Zone && level != nil && level.Fresh {
			return level.Say(v.units, q, level.Worst())
		}
	}
	return noValue
}

// farthest fills a row with the level that is farthest out, the first of those that
// are alike.
func (v *visit) farthest(b farm.BinView, row *row) {
	conf, _ := v.Farm.BinByName(b.Name)
	most := -1
	for _, z := range b.Zones {
		for _, q := range farm.QuantityNames() {
			level := z.Level(q)
			if level == nil || !level.Fresh {
				continue
			}
			shape, word := standing(q.Row(), z.Aim, level.Worst(), bands(conf, z, q.Row()))
			out := map[string]int{"p-above": 1, "p-below": 1, "p-far-above": 2, "p-far-below": 2}[shape]
			if out <= most {
				continue
			}
			if out == 0 {
				word = ""
			}
			most, row.Shape, row.Word = out, cmp.Or(shape, "p-in"), word
			row.Value = level.Say(v.units, q, level.Worst())
		}
	}
	row.Shape, row.Value = cmp.Or(row.Shape, "p-none"), cmp.Or(row.Value, noValue)
}

// sayCalm says what the calm bins of a strip are like: how many, and between what ends.
func (v *visit) sayCalm(rows []row) string {
	quiet := 0
	for _, r := range rows {
		quiet += r.need
	}
	var parts []string
	if well := len(rows) - quiet; well > 0 {
		parts = append(parts, fmt.Sprintf("%d with nothing wrong", well))
	}
	if quiet > 0 {
		parts = append(parts, fmt.Sprintf("%d kept quiet or known of", quiet))
	}
	for _, q := range []farm.Quantity{farm.Temperature, farm.Moisture} {
		var least, most *farm.LevelView
		for _, r := range rows {
			for _, z := range r.bin.Zones {
				level := z.Level(q)
				if level == nil || !level.Fresh {
					continue
				}
				if least == nil || level.Value < least.Value {
					least = level
				}
				if most == nil || level.Value > most.Value {
					most = level
				}
			}
		}
		if least != nil {
			low, high := least.Say(v.units, q, least.Value), most.Say(v.units, q, most.Value)
			if low != high {
				low += " to " + high
			}
			parts = append(parts, low)
		}
	}
	return strings.Join(parts, " · ")
}
