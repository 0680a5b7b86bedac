package page

import (
	"crypto/rand"
	"net/http"

	"binwatchd/internal/farm"
)

// A roundsPage is the care list, each line with a tick that writes the jot.
type roundsPage struct {
	shell
	Rounds farm.Rounds
	Care   []careView
}

type careView struct {
	farm.Care
	ID         string
	Place      string
	Once       string
	Measured   bool   // the jot may have an amount
	Amount     string // to be put right before the tick
	Tubs       []string
	Unit       string
	Units      []string
	HushURL    string
	CanBeKnown bool // it stands raised, and can be marked as seen
}

func (p *Page) showRounds(w http.ResponseWriter, r *http.Request) error {
	rounds, ok := p.cfg.Rounds()
	if !ok {
		return p.notYet()
	}
	f := p.cfg.Farm()
	page := roundsPage{shell: p.live(p.shell(w, r, "rounds", "Rounds")), Rounds: rounds}
	for _, c := range rounds.Care {
		page.Care = append(page.Care, careLine(f, c))
	}
	return p.show(w, http.StatusOK, "rounds", page)
}

func careLine(f *farm.Farm, c farm.Care) careView {
	out := careView{Care: c, Once: rand.Text(), CanBeKnown: c.Episode != "" && !c.Seen, Place: farm.Capital(c.Bin)}
	out.ID = anchor(c.Bin, c.Zone+"."+string(c.Condition)+string(c.Quantity))
	if b, ok := f.BinByName(c.Bin); ok {
		out.Place = placeName(b, c.Zone)
		if c.Condition != "" {
			out.HushURL = hushURL(c.Bin, c.Zone, c.Condition, c.Quantity)
		}
	}
	if c.Jot != nil {
		out.Measured = hasAmount(c.Jot.What)
		out.Amount, out.Unit = typedAmount(*c.Jot, f.Units)
		out.Units = unitsOffered(c.Jot.What, f.Units)
		if c.Jot.What == farm.Sifted {
			out.Tubs = tubs(f, c.Bin)
		}
	}
	return out
}
