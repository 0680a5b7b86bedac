package page

import (
	"net/http"

	"binwatchd/internal/farm"
)

// A roundsPage is the care list, each line with a tick that writes the jot.
type roundsPage struct {
	*visit
	Rounds farm.Rounds
	Care   []careView
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
	rounds, ok := v.cfg.Rounds()
	if !ok {
		return v.notYet()
	}
	v.titled("rounds", "Rounds")
	v.live()
	v.inside()
	v.Back, v.Since = "/rounds", since
	page := roundsPage{visit: v, Rounds: rounds}
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
			if c.Room == "" && len(v.Farm.Rooms) > 0 {
				line.Heading = "Elsewhere"
			}
		}
		page.Care = append(page.Care, line)
	}
	return v.show(http.StatusOK, "rounds", page)
}
