// Package jot reads the logbook as people write it: "fed bed 2 kg scraps and 3 L
// bedding, watered ½ gal, yesterday evening". Command, page, messages and pasted text
// all come through [Read], so that all of them understand the same.
//
// It guesses nothing. What it is not sure of comes back as a [Question] with the
// nearest reading; a name or a verb that is one letter off is taken where it can mean
// one thing alone, and that is said. It knows the farm's names and measures and the
// time it is given; it does no I/O and reads no clock.
//
// In reading order: jot.go is a line and its acts; words.go parts a text in words,
// verb.go, amount.go, place.go and when.go know one part of a sentence each; finish.go
// makes lines of the logbook of the acts, check.go says what no bin can take.
package jot

import (
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"binwatchd/internal/farm"
)

// A Reading is what a text means.
type Reading struct {
	Jots []farm.Jot // At is zero where no time was given: it was done just now
	Took []string   // what was taken for what, where a letter was off
}

// Ask is what a question is about.
type Ask string

const (
	AskBin    Ask = "bin"
	AskVerb   Ask = "verb"
	AskAmount Ask = "amount"
	AskTime   Ask = "time"
	AskWords  Ask = "words"
)

// A Question is why a text is not written down as it stands.
type Question struct {
	About   Ask
	Why     string  // what is not clear
	Nearest Reading // as far as it is clear; no jots where nothing is
}

func (q *Question) Error() string { return q.Why }

func ask(about Ask, why string, args ...any) *Question {
	return &Question{About: about, Why: fmt.Sprintf(why, args...)}
}

// longestText bounds what is read: a pasted page of a notebook.
const longestText = 4000 // bytes

// Read reads a text that was written at a time. The error is a [*Question].
func Read(f *farm.Farm, text string, now time.Time) (Reading, error) {
	return ReadAt(f, farm.Place{}, text, now)
}

// ReadAt is Read of what was written about a place, where the text names no other.
func ReadAt(f *farm.Farm, here farm.Place, text string, now time.Time) (Reading, error) {
	if len(text) > longestText {
		return Reading{}, ask(AskWords, "more than %d letters at a time; write it in parts", longestText)
	}
	p := newParser(f, text, now)
	p.here = here
	p.read()
	r, q := p.finish()
	if q != nil {
		q.Nearest = r
		return r, q
	}
	return r, nil
}

func newParser(f *farm.Farm, text string, now time.Time) *parser {
	p := &parser{farm: f, now: local(f, now), text: text, words: split(text), act: &act{}}
	for _, b := range f.Bins {
		p.bins = append(p.bins, name{b.Name, keyOf(b.Name)})
		for _, z := range b.Zones {
			p.zones = append(p.zones, zoneName{farm.Place{Bin: b.Name, Zone: z.Name}, keyOf(z.Name)})
		}
	}
	return p
}

// Amount reads an amount alone: "¾ gal", "half a bucket".
func Amount(f *farm.Farm, text string) (farm.Amount, error) {
	p := newParser(f, text, time.Time{})
	n := p.measure()
	switch {
	case p.question != nil:
		return farm.Amount{}, p.question
	case n == 0 || n < len(p.words):
		return farm.Amount{}, ask(AskAmount, "%q is no amount; write 2 kg, ¾ gal or a measure of vessels:", clipped(text, longestWord))
	}
	return p.act.amount, nil
}

// Note makes a note of a text that is kept as it stands: of the bin that it names,
// else of the place it was written about, which may be none.
func Note(f *farm.Farm, here farm.Place, text string, now time.Time) farm.Jot {
	p := newParser(f, text, now)
	p.read()
	j := farm.Jot{What: farm.Noted, Words: clipped(plain(text), longestNote), Bin: here.Bin, Zone: here.Zone}
	for _, a := range p.all() {
		if a.hasPlace {
			j.Bin, j.Zone = a.place.Bin, a.place.Zone
			break
		}
	}
	return j
}

// An act is one thing done or seen, as far as it has been read.
type act struct {
	verb     *farm.JotRow
	implied  bool   // the verb is that of the act before
	loose    string // "gave": what it was says what was done
	place    farm.Place
	hasPlace bool
	to       farm.Place
	hasTo    bool
	amount   farm.Amount
	part     float64  // how full it is, in place of an amount
	measured bool     // it has an amount
	each     bool     // the amount is meant for each of the places
	of       []string // what it was
	when     moment
	words    string // noted
}

func (a *act) empty() bool {
	return a.verb == nil && a.loose == "" && !a.hasPlace && !a.hasTo && !a.measured && len(a.of) == 0 && !a.when.given
}

// A parser goes through a text from left to right.
type parser struct {
	farm  *farm.Farm
	now   time.Time  // in the farm's zone
	here  farm.Place // of what the text is written about; zero: that is not known
	bins  []name
	zones []zoneName
	text  string
	words []word
	at    int // of the next word

	acts     []*act
	act      *act      // in hand
	joined   bool      // a comma or "and" stands before the next word
	last     part      // what was read last
	bare     string    // the bin that stands right before, without a zone
	stray    []string  // words that mean nothing here
	took     []string  // what was taken for what
	question *Question // the first
}

// part is a part of a sentence.
type part uint8

const (
	nothing part = iota
	aVerb
	aPlace
	anAmount
	ofWord  // "of"
	withHis // "with"
	aKind
	aTime
	toWord // "to", "into", "in", "on"
	fromWord
)

// all are the acts read, the one in hand too.
func (p *parser) all() []*act {
	if p.act.empty() {
		return p.acts
	}
	return append(p.acts[:len(p.acts):len(p.acts)], p.act)
}

func (p *parser) wonder(q *Question) {
	if q != nil && p.question == nil {
		p.question = q
	}
}

// read goes through the text.
func (p *parser) read() {
	for p.at < len(p.words) {
		n := p.step()
		if n == 0 {
			n = p.written()
			raw := p.text[p.words[p.at].at:p.words[p.at+n-1].end]
			if p.last == toWord || p.last == fromWord {
				p.wonder(p.noBin(raw))
			}
			p.stray, p.last = append(p.stray, raw), nothing
			if p.bare != "" {
				b, _ := p.farm.BinByName(p.bare)
				p.wonder(ask(AskWords, "%q is not understood; the zones of %s are %s", raw, b.Name, farm.SayList(zonesOf(b))))
			}
		}
		if p.low(0) != "," && p.last != aPlace {
			p.bare = ""
		}
		p.at += n
	}
}

func zonesOf(b farm.Bin) (all []string) {
	for _, z := range b.Zones {
		all = append(all, z.Name)
	}
	return all
}

// step reads what stands next and gives how many words that is; 0 where it means
// nothing here.
func (p *parser) step() int {
	if n := p.joiner(); n > 0 {
		return n
	}
	for _, read := range []func() int{p.time, p.verb, p.measure, p.placed} {
		if n := read(); n > 0 {
			p.joined = false
			return n
		}
	}
	if n := p.small(); n > 0 {
		return n
	}
	n := p.kind()
	if n == 0 {
		n = p.nearly()
	}
	p.joined = false
	return n
}

// next begins another act that goes on with the verb of the one in hand.
func (p *parser) next() {
	was := p.act
	p.acts = p.all()
	p.act = &act{verb: was.verb, loose: was.loose, implied: true}
}

// small reads the small words that say how parts belong together.
func (p *parser) small() int {
	w := p.words[p.at].low
	switch w {
	case "of":
		p.last = ofWord
	case "with":
		p.last = withHis
	case "to", "into", "in", "on", "onto":
		p.last = toWord
	case "from", "off", "out":
		p.last = fromWord
	case "each":
		p.act.each = true
	case "at": // of a time it was read before
		n := 1
		if p.low(n) == "the" {
			n++
		}
		if _, bin := p.bin(n); bin == 0 {
			return 0
		}
		return n
	default:
		if !fillers[w] {
			return 0
		}
	}
	return 1
}

// noes are of no stuff: what was not done is no line of the logbook.
var noes = set("no not nothing none never")

// fillers say nothing in a line of the logbook. A "no" or a "should" does.
var fillers = set(`i we the just have has had been a an up it its there was were are is and also saw seen see found spotted
	noticed please : . ! - / ( )`)

func set(words string) map[string]bool {
	all := map[string]bool{}
	for _, w := range strings.Fields(words) {
		all[w] = true
	}
	return all
}

// joiner reads what parts acts.
func (p *parser) joiner() int {
	if w := p.low(0); !isJoiner(w) && !(w == "." && p.startsSentence(1)) {
		return 0
	}
	p.joined, p.last = true, nothing
	return 1
}

// startsSentence tells whether the word n words on begins with a capital.
func (p *parser) startsSentence(n int) bool {
	return p.at+n < len(p.words) && p.words[p.at+n].letters && p.words[p.at+n].raw[:1] != p.words[p.at+n].low[:1]
}

func isJoiner(w string) bool {
	switch w {
	case ",", ";", "&", "+", "and", "then", "\n":
		return true
	}
	return false
}

// mostStuff is of how many words a stuff is at most: "well rotted horse manure".
const mostStuff = 4

// kind reads what a jot is of, where that can stand.
func (p *parser) kind() int {
	w := p.words[p.at]
	if !w.letters || p.joined || len(p.act.of) >= mostStuff || noes[w.low] {
		return 0
	}
	a := p.act
	switch p.last {
	case ofWord, anAmount, withHis, aKind:
	case aVerb, aPlace:
		if len(a.of) > 0 || !p.stuff(w.low) || p.last == aVerb && !a.hasPlace && !p.food(w.low) && p.nearBin() {
			return 0
		}
	default:
		return 0
	}
	switch {
	case a.verb == nil && a.loose == "" && !a.measured, a.verb != nil && a.verb.Of == farm.NoStuff:
		return 0
	case p.last != aKind && len(a.of) > 0:
		return 0
	case p.last == aPlace && w.low == "worms" && a.verb != nil && a.verb.Of == farm.Food:
		return 1 // "fed the worms of the bed"
	}
	a.of = append(a.of, w.raw)
	p.last = aKind
	return 1
}

// stuff tells whether a word can be what the act in hand is of, where nothing else
// says so.
func (p *parser) stuff(word string) bool {
	a := p.act
	switch {
	case a.loose != "":
		return true
	case a.verb == nil:
		return false
	case a.verb.Of == farm.Water:
		return waters[word] || word == "rain" || word == "tap"
	case a.verb.Of == farm.Castings:
		return castings[word] || word == "worm"
	case a.verb.Of == farm.Worms:
		_, ok := p.worms([]string{word})
		return ok
	}
	return a.verb.Of != farm.NoStuff
}

// plain is a text in one line without signs that can't be shown.
func plain(text string) string {
	text = strings.Map(func(r rune) rune {
		if r == utf8.RuneError || unicode.IsControl(r) {
			return ' '
		}
		return r
	}, text)
	return strings.Join(strings.Fields(text), " ")
}
