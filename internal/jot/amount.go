package jot

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
)

var (
	ones = map[string]float64{"one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10,
		"eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19, "dozen": 12}
	tens  = map[string]float64{"twenty": 20, "thirty": 30, "forty": 40, "fifty": 50, "sixty": 60, "seventy": 70, "eighty": 80, "ninety": 90}
	parts = map[string]float64{"half": 1. / 2, "quarter": 1. / 4, "quarters": 1. / 4, "third": 1. / 3, "thirds": 1. / 3, "eighth": 1. / 8, "eighths": 1. / 8}
	signs = map[string]float64{"½": 1. / 2, "¼": 1. / 4, "¾": 3. / 4, "⅓": 1. / 3, "⅔": 2. / 3, "⅛": 1. / 8}

	around = set("about around approximately approx roughly nearly almost ~ ca circa")
	vague  = set("some several few bit lots little handful handfuls many much")
)

func isNumber(s string) bool {
	_, err := strconv.ParseFloat(s, 64)
	return err == nil && s != "" && (s[0] == '.' || '0' <= s[0] && s[0] <= '9')
}

// measure reads an amount with its unit, or asks what it is.
func (p *parser) measure() int {
	n := 0
	if around[p.low(0)] {
		n = 1
	}
	if p.last != aKind && p.last != ofWord {
		if v := n; vague[p.low(v)] || p.low(v) == "a" && vague[p.low(v+1)] {
			if m := p.beforeSight(v); m > 0 {
				return m
			}
			p.wonder(ask(AskAmount, "%q is no amount; write how much, or leave it out", p.words[p.at+v].raw))
			if p.low(v) == "a" {
				v++
			}
			return v + 1
		}
	}
	if p.low(0) == "-" && !p.words[p.at].glued && p.at+1 < len(p.words) && p.words[p.at+1].glued && isNumber(p.low(1)) {
		p.wonder(ask(AskAmount, "-%s is less than nothing", p.low(1)))
		return 2
	}
	count, m := p.number(n)
	if m == 0 && p.low(n) == "full" {
		count = 1
	}
	n += m
	if full := p.full(n, count); full > 0 {
		return full
	}
	if m == 0 {
		return 0
	}
	if p.low(n) == "," && p.at+n+1 < len(p.words) && p.words[p.at+n].glued && p.words[p.at+n+1].glued && isNumber(p.low(n+1)) {
		p.wonder(ask(AskAmount, "decimals are written with a point: %s.%s", p.low(n-1), p.low(n+1)))
		return n + 2
	}
	for p.low(n) == "of" || p.low(n) == "a" || p.low(n) == "an" { // "half of a gallon"
		n++
	}
	per, name, u := p.unit(n)
	if u == 0 {
		if article := p.low(0); article == "a" || article == "an" {
			return 0
		}
		p.noUnit(n)
		return n
	}
	n += u
	if extra, m := p.andPart(n); m > 0 { // "a gallon and a half"
		count, n = count+extra, n+m
	}
	if p.low(n) == "." && isNumber(p.low(n+1)) && p.low(n + 1)[0] != '.' { // "1 gal. 2 qt."
		n++
	}
	got := farm.Amount{Kg: count * per.Kg, Litres: count * per.Litres}
	if more, m := p.number(n); m > 0 && !p.joinedAt(n) { // "2 lb 8 oz"
		if per2, _, u := p.unit(n + m); u > 0 && smaller(per2, per) {
			got.Kg, got.Litres, n = got.Kg+more*per2.Kg, got.Litres+more*per2.Litres, n+m+u
		}
	}
	p.amount(got, name)
	return n
}

// full reads how full a bin is, in a stock-take: "holds half", "¾ full".
func (p *parser) full(n int, part float64) (words int) {
	a, over := p.act, p.at+n >= len(p.words) || p.joinedAt(n)
	taken := a.verb != nil && a.verb.Name == farm.Holds
	switch {
	case p.low(n) == "full" && p.low(n+1) != "of" && (taken || a.verb == nil && a.loose == "" || a.implied):
		n++
	case taken && n > 0 && part < 1 && over:
	default:
		return 0
	}
	if part > 1 {
		p.wonder(ask(AskAmount, "that is fuller than full"))
	}
	a.verb, a.implied, a.part, a.measured, p.last = farm.Holds.Row(), false, part, true, anAmount
	return n
}

func (p *parser) joinedAt(n int) bool { return isJoiner(p.low(n)) }

func smaller(a, b farm.Amount) bool {
	return a.Kg > 0 && a.Kg < b.Kg || a.Litres > 0 && a.Litres < b.Litres
}

// amount puts an amount to the act in hand, or begins another.
func (p *parser) amount(got farm.Amount, unit string) {
	switch {
	case math.IsInf(got.Kg+got.Litres, 0) || got.Kg+got.Litres > 1e6:
		p.wonder(ask(AskAmount, "that is more %s than any farm has", unit))
	case got.Kg+got.Litres <= 0:
		p.wonder(ask(AskAmount, "an amount of nothing"))
	}
	if p.joined && p.act.measured {
		p.next()
	}
	if p.act.measured {
		p.wonder(ask(AskAmount, "two amounts for one thing"))
	}
	p.act.amount, p.act.measured, p.last = got, true, anAmount
}

// beforeSight tells of how many words "lots of" is before "mites".
func (p *parser) beforeSight(n int) int {
	for n++; vague[p.low(n)] || p.low(n) == "of"; n++ {
	}
	for _, f := range forms {
		if f.row.Sight != nil && p.meets(n, f.words) {
			return n
		}
	}
	return 0
}

// noUnit asks what a number is of.
func (p *parser) noUnit(n int) {
	what := p.low(n)
	if what == "" || !p.words[p.at+n].letters {
		p.wonder(ask(AskAmount, "%s of what? Write the measure: 2 L, 2 kg", p.text[p.words[p.at].at:p.words[p.at+n-1].end]))
		return
	}
	p.wonder(ask(AskAmount, "%q is no measure that is known here; a measure of your own goes into vessels: in the configuration, such as vessels: {%s: 2 L}", what, strings.TrimSuffix(what, "s")))
}

// number reads a number n words on.
func (p *parser) number(n int) (v float64, words int) {
	from := n
	w := p.low(n)
	one, named := ones[w]
	ten, teens := tens[w]
	sign, signed := signs[w]
	part, parted := parts[w]
	article := w == "a" || w == "an"
	switch {
	case signed:
		return sign, 1
	case isNumber(w):
		v, _ = strconv.ParseFloat(w, 64)
		n++
		if over, ok := p.over(n); ok {
			return v / over, n + 2 - from
		}
		if s, ok := signs[p.low(n)]; ok { // 1½, 1 ½
			return v + s, n + 1 - from
		}
		if isNumber(p.low(n)) { // 1 1/2
			if over, ok := p.over(n + 1); ok {
				top, _ := strconv.ParseFloat(p.low(n), 64)
				return v + top/over, n + 3 - from
			}
		}
	case parted && w != "quarters" && w != "thirds":
		v, n = part, n+1
		if p.low(n) == "of" && p.low(n+1) == "a" || p.low(n) == "of" && p.low(n+1) == "an" {
			n += 2
		} else if p.low(n) == "a" || p.low(n) == "an" {
			n++
		}
		if p.low(n) == "dozen" {
			v, n = v*12, n+1
		}
		return v, n - from
	case teens:
		v, n = ten, n+1
		if p.low(n) == "-" {
			n++
		}
		if more := ones[p.low(n)]; more > 0 && more < 10 {
			v, n = v+more, n+1
		} else if p.words[p.at+n-1].low == "-" {
			n--
		}
	case named:
		v, n = one, n+1
		if part, ok := parts[p.low(n)]; ok { // three quarters
			return v * part, n + 1 - from
		}
		if p.low(n) == "hundred" {
			v, n = v*100, n+1
		}
	case article && p.low(n+1) == "couple":
		n += 2
		if p.low(n) == "of" {
			n++
		}
		return 2, n - from
	case article && p.low(n+1) == "dozen":
		return 12, 2
	case article:
		if part, ok := parts[p.low(n+1)]; ok {
			return part, 2
		}
		v, n = 1, n+1
	default:
		return 0, 0
	}
	if extra, m := p.andPart(n); m > 0 { // "two and a half pounds"
		v, n = v+extra, n+m
	}
	return v, n - from
}

// over reads the lower half of a fraction.
func (p *parser) over(n int) (float64, bool) {
	if p.low(n) != "/" || !isNumber(p.low(n+1)) {
		return 0, false
	}
	v, _ := strconv.ParseFloat(p.low(n+1), 64)
	return v, v > 0
}

// andPart reads "and a half".
func (p *parser) andPart(n int) (v float64, words int) {
	if p.low(n) != "and" {
		return 0, 0
	}
	m := n + 1
	count := 1.
	switch w := p.low(m); {
	case w == "a" || w == "one":
		m++
	case ones[w] > 0:
		count, m = ones[w], m+1
	}
	if part, ok := parts[p.low(m)]; ok && m > n+1 {
		return count * part, m + 1 - n
	}
	return 0, 0
}

// unit reads a unit or a vessel n words on, and what one of it is.
func (p *parser) unit(n int) (one farm.Amount, name string, words int) {
	w := p.low(n)
	if p.at+n >= len(p.words) || !p.words[p.at+n].letters {
		return one, "", 0
	}
	if i := slices.IndexFunc(p.farm.Vessels, func(v farm.Vessel) bool { return vesselOf(w, strings.ToLower(v.Name)) }); i >= 0 {
		v := p.farm.Vessels[i]
		return v.Holds, v.Name, 1
	}
	if oz := p.low(n + 1); w == "fl" && (oz == "oz" || oz == "ounces" || oz == "ounce") {
		return farm.Amount{Litres: fluidOunce}, "fl oz", 2
	}
	kg, litres, err := quantity.ParseAmount("1 " + w)
	if err != nil {
		return one, "", 0
	}
	return farm.Amount{Kg: kg, Litres: litres}, w, 1
}

// fluidOunce is the US one, L: an eighth of a cup, NIST Handbook 44 Appendix C.
const fluidOunce = 3.785411784 / 128

// vesselOf tells whether a word names a vessel, one or several or full ones.
func vesselOf(w, name string) bool {
	for _, end := range []string{"", "s", "es", "ful", "fuls", "full", "sful"} {
		if w == name+end {
			return true
		}
	}
	return false
}
