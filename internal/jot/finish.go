package jot

import (
	"strings"

	"binwatchd/internal/farm"
)

// finish makes lines of the logbook of what was read, and gives the first question.
func (p *parser) finish() (r Reading, q *Question) {
	acts := p.all()
	if len(p.stray) > 0 {
		p.wonderAt(acts)
	}
	p.sharePlaces(acts)
	p.shareAmounts(acts)
	p.shareTimes(acts)
	if len(acts) == 0 {
		p.wonder(ask(AskVerb, "nothing is said of what was done"))
	}
	for _, a := range acts {
		j, q := p.line(a)
		p.wonder(q)
		if q == nil {
			r.Jots = append(r.Jots, j)
		}
	}
	r.Took = p.took
	return r, p.question
}

// wonderAt asks about the words that mean nothing.
func (p *parser) wonderAt(acts []*act) {
	words := strings.Join(p.stray, " ")
	first := &act{}
	if len(acts) > 0 {
		first = acts[0]
	}
	done := first.verb != nil || first.loose != ""
	switch {
	case !done:
		p.wonder(ask(AskVerb, "what was done? %q is nothing that is known here", words))
	case !first.hasPlace && p.here.Bin == "":
		p.wonder(p.noBin(p.stray[0]))
	default:
		p.wonder(ask(AskWords, "%q is not understood", words))
	}
}

// sharePlaces gives each act the place of the one before it, and the only place of a
// line to all.
func (p *parser) sharePlaces(acts []*act) {
	places := map[farm.Place]bool{}
	var only farm.Place
	for _, a := range acts {
		if a.hasPlace {
			places[a.place], only = true, a.place
		}
	}
	if len(places) == 0 && p.here == (farm.Place{}) && len(p.farm.Bins) == 1 {
		p.here.Bin = p.farm.Bins[0].Name
	}
	if len(places) == 0 && p.here.Bin != "" {
		places[p.here], only = true, p.here
	}
	for i, a := range acts {
		switch {
		case a.hasPlace:
		case i > 0 && acts[i-1].hasPlace:
			a.place, a.hasPlace = acts[i-1].place, true
			if a.implied && !a.hasTo {
				a.to, a.hasTo = acts[i-1].to, acts[i-1].hasTo
			}
		case len(places) == 1:
			a.place, a.hasPlace = only, true
		}
	}
}

// shareAmounts gives an amount that is said for each to all of a list of places.
func (p *parser) shareAmounts(acts []*act) {
	for i := len(acts) - 2; i >= 0; i-- {
		a, next := acts[i], acts[i+1]
		switch {
		case !next.implied || a.verb != nil && !a.verb.Amount:
		case !a.measured && next.measured && next.each:
			a.amount, a.measured, a.each = next.amount, true, true
			if len(a.of) == 0 {
				a.of = next.of
			}
		case !a.measured && next.measured && len(a.of) == 0:
			p.wonder(ask(AskAmount, "how much for each of %s and %s? Write %q behind the amount, or each with its own", a.place, next.place, "each"))
		case a.measured && !next.measured:
			p.wonder(ask(AskAmount, "how much at %s?", next.place))
		}
	}
}

// shareTimes gives the only time of a line to all its acts, else each the time of the
// one before.
func (p *parser) shareTimes(acts []*act) {
	given := 0
	var only moment
	for _, a := range acts {
		if a.when.given {
			given, only = given+1, a.when
		}
	}
	for i, a := range acts {
		switch {
		case a.when.given || given == 0:
		case given == 1:
			a.when = only
		case i > 0:
			a.when = acts[i-1].when
		default:
			p.wonder(ask(AskTime, "when was the first of it done?"))
		}
	}
}

// line makes the line of the logbook of one act.
func (p *parser) line(a *act) (j farm.Jot, q *Question) {
	row := a.verb
	if row == nil && len(a.of) > 0 {
		row = p.meant(a.loose, a.of) // "2 L of water", without a verb, were given
	}
	if row == nil {
		return j, ask(AskVerb, "what was done? It can be %s", listed(doings()))
	}
	switch of := strings.ToLower(strings.Join(a.of, " ")); {
	case row.Name == farm.Fed && of == "bedding":
		row = farm.Bedded.Row()
	case row.Name == farm.Fed && waters[of]: // "fed 2 kg scraps and 1 gal water"
		row = farm.Watered.Row()
	}
	j = farm.Jot{What: row.Name, Words: a.words, At: a.when.at}
	if !a.when.at.IsZero() {
		j.At = a.when.at.UTC()
	}
	if !a.hasPlace && row.Name != farm.Noted {
		return j, ask(AskBin, "at which bin? There are %s", farm.SayList(p.binsLike(func(string) bool { return true })))
	}
	j.Bin, j.Zone = a.place.Bin, a.place.Zone
	if a.hasTo {
		j.To = a.to.Bin
		if row.Name != farm.Sifted {
			return j, ask(AskWords, "only what is sifted goes to another bin, not what is %s", row.Name)
		}
	}
	j.Kg, j.Litres = a.amount.Kg, a.amount.Litres
	if a.part > 0 {
		b, _ := p.farm.BinByName(j.Bin)
		if j.Litres = a.part * b.Holds(j.Zone); j.Litres == 0 {
			return j, ask(AskAmount, "how much is that? The configuration does not say how much %s holds", b.Name)
		}
	}
	if row.Of == farm.Water && j.Kg > 0 {
		j.Kg, j.Litres = 0, j.Kg // a kilogram of water is a litre
	}
	if j.Of, q = p.of(row, a.of); q != nil {
		return j, q
	}
	checked := j
	if j.At.IsZero() {
		checked.At = p.now
	}
	if err := Check(p.farm, checked, p.now); err != nil {
		about := AskWords
		if strings.HasPrefix(err.Error(), "amount") {
			about = AskAmount
		} else if strings.HasPrefix(err.Error(), "at:") {
			about = AskTime
		}
		_, why, _ := strings.Cut(err.Error(), ": ")
		return j, ask(about, "%s", why)
	}
	return j, nil
}

// doings are the kinds of things that are done.
func doings() (all []farm.JotKind) {
	for _, k := range farm.JotKinds {
		if k.Done() {
			all = append(all, k)
		}
	}
	return all
}

// of says what a jot of a kind is of.
func (p *parser) of(row *farm.JotRow, of []string) (string, *Question) {
	text := strings.Join(of, " ")
	low := strings.ToLower(text)
	if text == strings.ToUpper(text) {
		text = low // of a line in capitals
	}
	known := true
	switch row.Of {
	case farm.NoStuff:
		known = text == ""
	case farm.Water:
		known, text = text == "" || waters[strings.TrimPrefix(strings.TrimPrefix(low, "rain "), "tap ")], ""
	case farm.Castings:
		known, text = text == "" || ofCastings(low), ""
	case farm.Worms:
		if text, known = p.worms(of); row.Name == farm.Stocked && ofCastings(low) {
			text, known = farm.OfCastings, true
		}
	case farm.Bedding:
		if low == "bedding" || low == "dry bedding" {
			text = ""
		}
	case farm.Food:
		if low == "food" || low == "feed" {
			text = ""
		}
	}
	if !known {
		return "", ask(AskWords, "%q is not understood: what is %s is not of that", strings.Join(of, " "), row.Name)
	}
	return text, nil
}
