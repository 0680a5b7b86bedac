package page

import (
	"net/http"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// A roundsPage is the care list, each line with a tick that writes the jot.
type roundsPage struct {
	*visit
	Rounds farm.Rounds
	Care   []careView
	Parts  []spanLink // whose part is shown, and whose may be; none: nobody has one
	Lately []string   // what was written down in the last hours, and by whom; none where nobody is named
}

type careView struct {
	farm.Care
	Place    string
	Heading  string // the room that one comes to; "" where one is there already
	Hushable bool
	Amount   string // to be put right before the tick
	Unit     string
	Units    []string // none: the jot has no amount
	Tubs     []string
	hands
}

func (v *visit) showRounds() error {
	since, err := v.cfg.History.Last(v.r.Context()) // before the list: what comes between is told of, not passed over
	v.torn(err, "page journal")
	v.inside()
	whose, parts := v.parts()
	rounds, ok := v.cfg.Rounds(whose)
	if !ok {
		return v.notYet()
	}
	v.titled("rounds", "Rounds")
	v.live()
	v.Back, v.Since = "/rounds", since
	for _, p := range parts {
		if p.Here {
			v.Back = p.URL
		}
	}
	page := roundsPage{visit: v, Rounds: rounds, Parts: parts, Lately: v.lately(whose)}
	for i, c := range rounds.Care {
		line := careView{Care: c, Place: farm.Capital(c.Bin), hands: v.handsOn(c.KnownBy, c.Taken)}
		if _, ok := v.Farm.BinByName(c.Bin); ok {
			line.Place, line.Hushable = v.Farm.SayPlace(c.Bin, c.Zone), c.Condition != ""
		}
		if c.Jot != nil && c.Jot.What.Row().Amount {
			line.Units = v.unitsFor(c.Jot.What)
			line.Amount, line.Unit = v.typed(*c.Jot)
		}
		if c.Jot != nil && c.Jot.What == farm.Sifted {
			line.Tubs = v.tubs(c.Bin)
		}
		if i == 0 || rounds.Care[i-1].Room != c.Room {
			line.Heading = farm.Capital(c.Room)
			if c.Room == "" && i > 0 { // at the top nothing is elsewhere yet
				line.Heading = "Elsewhere"
			}
		}
		page.Care = append(page.Care, line)
	}
	return v.show(http.StatusOK, "rounds", page)
}

// parts are the parts into which the rounds are shared out, and whose is shown: of who has one
// their own, unless another is asked for; "" is all.
func (v *visit) parts() (whose string, all []spanLink) {
	asked := v.in["of"]
	own, _ := v.Farm.PersonCalled(v.who)
	if p, known := v.Farm.PersonCalled(asked); known {
		whose = p.Name
	} else if asked == "" && len(own.Places) > 0 {
		whose = own.Name
	}
	for _, p := range v.Farm.People {
		if len(p.Places) == 0 {
			continue
		}
		part := spanLink{Name: farm.Capital(p.Name), URL: address("/rounds", "of", p.Name), Here: p.Name == whose}
		if p.Name == own.Name {
			part = spanLink{Name: "Yours", URL: "/rounds", Here: p.Name == whose}
		}
		all = append(all, part)
	}
	if len(all) > 0 {
		all = append(all, spanLink{Name: "All", URL: address("/rounds", "of", "all"), Here: whose == ""})
	}
	return whose, all
}

// linesShown is how many lines a list of what others do has.
const linesShown = 12

// lately says who has written down what in the last hours, on one person's part of the rounds, the newest first.
func (v *visit) lately(whose string) (said []string) {
	if len(v.Farm.People) == 0 {
		return nil
	}
	p, _ := v.Farm.PersonCalled(whose)
	lines, err := v.cfg.History.LastLines(v.r.Context(), linesLately)
	v.torn(err, "page last lines")
	for _, j := range lines {
		if v.now.Sub(j.At).Abs() > 12*time.Hour || len(said) == linesShown || !v.Farm.Minds(p, j.Bin) {
			continue
		}
		line := v.Farm.Dates().Clock(j.At, v.now)
		if who := v.Farm.SayPerson(j.By); who != "" {
			line += ", " + who
		}
		said = append(said, line+": "+strings.TrimSpace(v.Farm.SayPlace(j.Bin, j.Zone)+" "+v.sayJot(j)))
	}
	return said
}
