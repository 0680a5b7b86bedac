package jot

import (
	"slices"
	"strings"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// A form is a word or a phrase for a kind of jot.
type form struct {
	row   *farm.JotRow
	words []word
}

// forms are those of all kinds, the longest first.
var forms = allForms()

func allForms() (all []form) {
	for i := range farm.JotTable {
		row := &farm.JotTable[i]
		for _, s := range row.Spellings() {
			all = append(all, form{row, split(s)})
		}
	}
	slices.SortStableFunc(all, func(a, b form) int { return len(b.words) - len(a.words) })
	return all
}

// mistyped tells whether a word is the form with a letter off. Short words and first
// letters are seldom mistyped: "need" is no "feed", and "most" no "mist".
func (f form) mistyped(w string) bool {
	form := f.words[0].low
	return len(f.words) == 1 && w[0] == form[0] && (len(w) > 4 || form == string(f.row.Name)) && oneOff(w, form)
}

// isVerb tells whether a form of a verb stands so many words on.
func (p *parser) isVerb(n int) bool {
	_, isLoose := loose[p.low(n)]
	return isLoose || slices.ContainsFunc(forms, func(f form) bool { return p.meets(n, f.words) })
}

// loose verbs say that something came or went, not what.
var loose = map[string]string{
	"gave": "in", "give": "in", "given": "in", "giving": "in", "added": "in", "add": "in", "adding": "in", "put": "in", "putting": "in",
	"poured": "in", "got": "in", "took": "out", "take": "out", "taken": "out", "removed": "out", "remove": "out",
}

// nouns are verbs that are a stuff too: "2 L of water".
var nouns = set("feed feeding water bedding mist stock egg eggs dust mould mold")

// verb reads a verb, or something seen.
func (p *parser) verb() int {
	if p.last == ofWord {
		return 0
	}
	for _, f := range forms {
		if !p.meets(0, f.words) {
			continue
		}
		n, single := len(f.words), len(f.words) == 1
		switch {
		case single && (p.last == anAmount || p.last == withHis) && !p.joined:
			return 0 // "2 L water", "1 kg used coffee grounds"
		case single && p.last == aKind && (nouns[p.low(0)] || f.row.Sight != nil):
			return 0 // "kitchen feed"
		case single && nouns[p.low(0)] && !p.joined && p.act.loose != "":
			return 0 // "gave bed water"
		case f.row.Sight != nil && single && p.act.verb != nil && !p.act.implied && !p.joined && p.last == aVerb && f.row.Name != p.act.verb.Name && p.act.verb.Of != farm.NoStuff:
			return 0 // "fed eggs"
		}
		p.doing(f.row)
		if f.row.Name == farm.Noted {
			p.at += n
			p.note()
			p.at = len(p.words) - 1
			return 1
		}
		return n
	}
	if way, ok := loose[p.low(0)]; ok && p.last != aKind && p.last != anAmount {
		p.begin()
		p.act.loose, p.last = way, aVerb
		return 1
	}
	return 0
}

// doing puts a verb to the act in hand, or begins another.
func (p *parser) doing(row *farm.JotRow) {
	p.begin()
	p.act.verb, p.last = row, aVerb
}

// begin sees to it that the act in hand has no verb yet.
func (p *parser) begin() {
	if a := p.act; (a.verb != nil || a.loose != "") && (!a.implied || a.measured || len(a.of) > 0) {
		p.next()
	}
	p.act.verb, p.act.loose, p.act.implied = nil, "", false
}

// note takes all that follows as the words of a note, and a place before it.
func (p *parser) note() {
	for p.at < len(p.words) && (p.low(0) == ":" || p.low(0) == "that") {
		p.at++
	}
	if !p.act.hasPlace {
		p.at += p.placed()
	}
	for p.at < len(p.words) && p.low(0) == ":" {
		p.at++
	}
	if p.at < len(p.words) {
		p.act.words = clipped(plain(p.text[p.words[p.at].at:]), longestNote)
	}
}

// ofCastings tells whether a stuff, in lower case, is castings.
func ofCastings(stuff string) bool { return castings[strings.TrimPrefix(stuff, "worm ")] }

// stuffs finds what was done with a stuff that was given or taken.
func (p *parser) meant(way string, of []string) *farm.JotRow {
	what := strings.ToLower(strings.Join(of, " "))
	_, worms := p.worms(of)
	switch {
	case way == "out" && worms && what != "":
		return farm.Lifted.Row()
	case way == "out" && ofCastings(what):
		return farm.Sifted.Row()
	case way == "out":
		return nil
	case waters[what]:
		return farm.Watered.Row()
	case worms && what != "", ofCastings(what):
		return farm.Stocked.Row()
	case husbandry.IsBedding(what):
		return farm.Bedded.Row()
	case slices.ContainsFunc(of, p.food):
		return farm.Fed.Row()
	}
	return nil
}

var (
	waters   = set("water rainwater")
	castings = set("castings vermicast vermicompost compost")
	foods    = set("food feed scraps peelings grounds")
)

// food tells whether a word is a food that is known here.
func (p *parser) food(word string) bool {
	_, known := husbandry.FeedOf(p.farm, word)
	return known || foods[strings.ToLower(word)]
}

// worms reads a species of the table in force; ok where the words mean worms at all.
func (p *parser) worms(of []string) (species string, ok bool) {
	for _, w := range of {
		switch low := strings.ToLower(w); {
		case low == "worms" || low == "worm" || low == "adults" || low == "composting":
			ok = true
		default:
			i := slices.IndexFunc(p.farm.Species, func(s farm.Species) bool {
				return strings.EqualFold(s.ID, low) || strings.EqualFold(strings.TrimSuffix(s.Name, " worms"), low)
			})
			if i < 0 || species != "" {
				return "", false
			}
			species, ok = p.farm.Species[i].ID, true
		}
	}
	return species, ok || len(of) == 0
}

// nearly reads a verb or a bin that is one letter off, where it can mean one thing.
func (p *parser) nearly() int {
	w := p.words[p.at]
	if !w.letters || fillers[w.low] {
		return 0
	}
	var verbs []string
	var row *farm.JotRow
	if p.act.verb == nil && p.act.loose == "" || p.act.implied || p.joined {
		for _, f := range forms {
			if f.mistyped(w.low) && !slices.Contains(verbs, string(f.row.Name)) {
				verbs, row = append(verbs, string(f.row.Name)), f.row
			}
		}
	}
	bins, n := p.nearBins()
	switch {
	case len(verbs)+len(bins) > 1:
		p.wonder(ask(AskWords, "%q could be %s", w.raw, farm.SayChoice(append(verbs, bins...))))
		return max(n, 1)
	case len(verbs) == 1:
		p.took = append(p.took, w.raw+" for "+string(row.Name))
		p.doing(row)
		return 1
	case len(bins) == 1:
		p.took = append(p.took, p.text[w.at:p.words[p.at+n-1].end]+" for "+bins[0])
		at, _ := p.farm.FindPlace(bins[0])
		return n + p.put(at, n)
	}
	return 0
}
