package jot

import (
	"slices"
	"strings"
	"unicode"

	"binwatchd/internal/farm"
)

// keyOf makes names alike that a person takes for the same: "rack-01", "Rack 1" and
// "rack1".
func keyOf(name string) string {
	var b strings.Builder
	zeros := true // a zero that comes now leads a number
	for _, r := range strings.ToLower(name) {
		switch {
		case r == '0' && zeros:
			continue
		case !unicode.IsLetter(r) && !unicode.IsDigit(r):
			zeros = true
			continue
		}
		b.WriteRune(r)
		zeros = !unicode.IsDigit(r)
	}
	return b.String()
}

// A name of a bin, and what it is known by.
type name struct{ name, key string }

// A zoneName is the name of a zone, and what it is known by.
type zoneName struct {
	at  farm.Place
	key string
}

// placed reads the name of a bin, and of its zone if one follows, and puts it where
// the sentence wants it.
func (p *parser) placed() int {
	if p.last == ofWord && (p.act.verb != nil && p.act.verb.Of != farm.NoStuff && p.act.verb.Of != farm.Castings || p.act.loose != "") && len(p.act.of) == 0 {
		return 0 // "2 L of crate" is odd, but what follows "of" is a stuff; castings are of a bin
	}
	if at, n := p.zoneOf(); n > 0 {
		return n + p.put(at, n)
	}
	bin, n := p.bin(0)
	if n == 0 {
		here, _ := p.farm.BinByName(p.here.Bin)
		for _, z := range here.Zones {
			if n := p.meetsName(0, keyOf(z.Name)); n > 0 {
				n = p.pastZoneWord(n)
				return n + p.put(farm.Place{Bin: here.Name, Zone: z.Name}, n)
			}
		}
		return 0
	}
	return n + p.put(farm.Place{Bin: bin}, n)
}

// bin reads the name of a bin that stands from words on; the longest one.
func (p *parser) bin(from int) (name string, n int) {
	const longest = 8
	for n := min(longest, len(p.words)-p.at-from); n > 0; n-- {
		all := p.words[p.at+from : p.at+from+n]
		if !nameLike(all) || n > 1 && p.counts(from+n-1) {
			continue
		}
		raw := p.text[all[0].at:all[n-1].end]
		key := keyOf(raw)
		fits := p.binsLike(func(k string) bool { return k == key && k != "" })
		if at, err := p.farm.FindPlace(raw); len(fits) != 1 && err == nil && at.Zone == "" {
			return at.Bin, n
		}
		if len(fits) == 1 {
			return fits[0], n
		}
		if len(fits) > 1 {
			p.wonder(ask(AskBin, "%q could be %s", raw, farm.SayChoice(fits)))
			return fits[0], n
		}
	}
	return "", 0
}

// nameLike tells whether words can be one name: it begins and ends with a letter or a
// number, and no comma parts it.
func nameLike(all []word) bool {
	for _, end := range []word{all[0], all[len(all)-1]} {
		if keyOf(end.low) == "" && digits(end.low) == "" {
			return false
		}
	}
	return !slices.ContainsFunc(all, func(w word) bool { return w.low == "," || w.low == ";" || w.low == ":" || w.low == "\n" })
}

// counts tells whether the nth word on is a number that belongs to the unit after it:
// "rack 1 L" is 1 L.
func (p *parser) counts(n int) bool {
	_, _, unit := p.unit(n + 1)
	return p.at+n < len(p.words) && isNumber(p.low(n)) && !p.words[p.at+n].glued && unit > 0
}

func (p *parser) binsLike(fits func(key string) bool) (all []string) {
	for _, b := range p.bins {
		if fits(b.key) {
			all = append(all, b.name)
		}
	}
	return all
}

// zoneWords may stand after the name of a zone.
var zoneWords = set("end side half part zone")

// zoneOf reads "the near end of the bed".
func (p *parser) zoneOf() (at farm.Place, n int) {
	for _, z := range p.zones {
		n := p.meetsName(0, z.key)
		if n == 0 {
			continue
		}
		n = p.pastZoneWord(n)
		if of := p.low(n); of != "of" && of != "in" {
			continue
		}
		n++
		if p.low(n) == "the" {
			n++
		}
		if bin, m := p.bin(n); bin == z.at.Bin {
			return z.at, n + m
		}
	}
	return at, 0
}

// meetsName tells of how many words a name of a key is that stands from words on; 0
// where it does not stand there.
func (p *parser) meetsName(from int, key string) int {
	const longest = 6
	so := ""
	for n := 0; n < min(longest, len(p.words)-p.at-from) && key != ""; n++ {
		so += p.words[p.at+from+n].low
		if k := keyOf(so); k == key && nameLike(p.words[p.at+from:p.at+from+n+1]) {
			return n + 1
		} else if !strings.HasPrefix(key, k) {
			return 0
		}
	}
	return 0
}

// put puts a place, of so many words, where the sentence wants it, and gives how many
// more words name its zone.
func (p *parser) put(at farm.Place, n int) (more int) {
	if at.Zone == "" {
		at.Zone, more = p.zone(at.Bin, n)
	}
	sifting := p.act.verb != nil && p.act.verb.Name == farm.Sifted || p.act.loose == "out"
	a := p.act
	switch {
	case sifting && p.last == toWord && !a.hasTo:
		a.to, a.hasTo = at, true
	case sifting && p.last == fromWord && a.hasPlace && !a.hasTo && !p.joined:
		a.to, a.place = a.place, at
		a.hasTo = true
	case !a.hasPlace:
		a.place, a.hasPlace = at, true
	case p.joined:
		p.next()
		p.act.place, p.act.hasPlace = at, true
	case sifting && !a.hasTo && p.last != fromWord:
		p.stray = append(p.stray, at.String())
	case a.place == at:
	default:
		p.stray = append(p.stray, at.String())
	}
	p.last, p.bare = aPlace, ""
	if at.Zone == "" {
		p.bare = at.Bin
	}
	return more
}

// zone reads the name of a zone that stands after its bin: "bed/near", "bed, near
// end", "bed near".
func (p *parser) zone(bin string, from int) (zone string, n int) {
	n = from
	var of []farm.Zone
	if b, ok := p.farm.BinByName(bin); ok {
		of = b.Zones
	}
	slash := p.low(n) == "/"
	if slash || p.low(n) == "," {
		n++
	}
	if p.low(n) == "the" {
		n++
	}
	if !slash && p.act.verb == nil && p.isVerb(n) && !p.isVerb(n+1) {
		return "", 0 // "barrel feed 2 kg", where an end of it is called feed
	}
	for _, z := range of {
		if m := p.meetsName(n, keyOf(z.Name)); m > 0 {
			return z.Name, p.pastZoneWord(n+m) - from
		}
	}
	var near []string
	if w := p.low(n); p.at+n < len(p.words) && p.words[p.at+n].letters && !isJoiner(w) && !fillers[w] {
		for _, z := range of {
			if oneOff(keyOf(p.low(n)), keyOf(z.Name)) {
				near = append(near, z.Name)
			}
		}
	}
	if len(near) == 1 {
		p.took = append(p.took, p.words[p.at+n].raw+" for "+near[0])
		return near[0], p.pastZoneWord(n+1) - from
	}
	if slash {
		p.wonder(ask(AskBin, "no zone %q in %s", p.low(n), bin))
		return "", n + 1 - from
	}
	return "", 0
}

func (p *parser) pastZoneWord(n int) int {
	if zoneWords[p.low(n)] && !p.halves(n) {
		n++
	}
	return n
}

// halves tells whether the nth word on is half of the measure after it: "half a gallon".
func (p *parser) halves(n int) bool {
	of := n + 1
	for p.low(of) == "of" || p.low(of) == "a" || p.low(of) == "an" || p.low(of) == "dozen" {
		of++
	}
	_, _, unit := p.unit(of)
	return p.low(n) == "half" && unit > 0
}

// nearBins are the bins whose name is one letter off what stands next, and of how
// many words that is.
func (p *parser) nearBins() (bins []string, n int) {
	if p.act.hasPlace && !p.joined && p.last != toWord && p.last != fromWord {
		return nil, 0
	}
	n = p.written()
	key := keyOf(p.text[p.words[p.at].at:p.words[p.at+n-1].end])
	return p.binsLike(func(k string) bool { return oneOff(k, key) }), n
}

// written is of how many words that is which stands next with no blank in it.
func (p *parser) written() int {
	n := 1
	for p.at+n < len(p.words) && p.words[p.at+n].glued && !strings.Contains(",;:/.!", p.low(n)) {
		n++
	}
	return n
}

// noBin asks which bin is meant by a name that none has.
func (p *parser) noBin(name string) *Question {
	near := p.binsLike(func(key string) bool { return keyOf(name) != "" && strings.HasPrefix(key, keyOf(name)) })
	if len(near) > 0 {
		return ask(AskBin, "no bin %q; did you mean %s?", name, farm.SayChoice(near))
	}
	return ask(AskBin, "no bin %q; there are %s", name, farm.SayList(p.binsLike(func(string) bool { return true })))
}

func (p *parser) nearBin() bool {
	bins, _ := p.nearBins()
	return len(bins) > 0
}
