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
	openRows = 30 // up to so many bins their rows lie open, needy or not
)

// A strip is the bins of one place in short rows.
type strip struct {
	Name string
	Odd  []binRow // what wants a hand or is not known, the most needy first
	Calm []binRow // the rest, in the order of the farm
	Says string   // what the calm ones are like
	Open bool     // the calm ones need not be unfolded
}

// Bins is how many bins the strip has.
func (s strip) Bins() int { return len(s.Odd) + len(s.Calm) }

// A binRow is one bin in a line: its name and the one number that matters.
type binRow struct {
	Name, Shape string
	Value       string // "–" where none is believed now; "" where it does not matter
	Word        string // what is the matter; "" when nothing is
	need        int
}

const noValue = "–"

// Title is the bin's name as a heading.
func (r binRow) Title() string { return farm.Capital(r.Name) }

// URL is the bin's own page.
func (r binRow) URL() string { return binURL(r.Name) }

// strips are the bins by place, in the order of the file, those of no place last;
// only those of which every word of find is said.
func (v *visit) strips(find string) (all []strip) {
	var names []string
	for _, room := range v.Farm.Rooms {
		names = append(names, room.Name)
	}
	for _, name := range append(names, "") {
		s := strip{Name: farm.Capital(name)}
		switch {
		case name == "" && len(names) == 0:
			s.Name = "All bins"
		case name == "":
			s.Name = "Elsewhere"
		}
		var calm []farm.BinView
		for _, b := range v.View.Bins {
			if v.Farm.RoomOf(b.Name) != name {
				continue
			}
			row := v.row(b)
			switch {
			case !found(find, s.Name, row.Name, row.Value, row.Word):
			case row.need > 1:
				s.Odd = append(s.Odd, row)
			default:
				s.Calm, calm = append(s.Calm, row), append(calm, b)
			}
		}
		if s.Bins() == 0 {
			continue
		}
		slices.SortStableFunc(s.Odd, func(a, b binRow) int { return b.need - a.need })
		s.Says, s.Open = v.sayCalm(s.Calm, calm), find != "" || len(v.View.Bins) <= openRows
		all = append(all, s)
	}
	return all
}

// found tells whether every word of what is looked for is in one of the texts; the
// script of the page finds the same.
func found(find string, texts ...string) bool {
	text := strings.ToLower(strings.Join(texts, " "))
	return !slices.ContainsFunc(strings.Fields(strings.ToLower(find)), func(word string) bool { return !strings.Contains(text, word) })
}

// row makes the row of a bin: of what is most urgent in it, else of what is not known,
// else of the level that is farthest out.
func (v *visit) row(b farm.BinView) binRow {
	row := binRow{Name: b.Name}
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
func (v *visit) farthest(b farm.BinView, row *binRow) {
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
func (v *visit) sayCalm(rows []binRow, bins []farm.BinView) string {
	quiet := 0
	for _, r := range rows {
		quiet += r.need
	}
	var parts []string
	if well := len(rows) - quiet; well > 0 {
		parts = append(parts, fmt.Sprintf("%d with nothing wrong", well))
	}
	if quiet > 0 {
		parts = append(parts, fmt.Sprintf("%d hushed or known of", quiet))
	}
	for _, q := range []farm.Quantity{farm.Temperature, farm.Moisture} {
		var least, most *farm.LevelView
		for _, b := range bins {
			for _, z := range b.Zones {
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
