package ahead

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"binwatchd/internal/farm"
)

// A Supposition is what would be otherwise from now on: more or less of something that
// the keeper does.
type Supposition struct {
	farm.Place
	What   farm.JotKind // fed, bedded or sifted
	Factor float64      // of the pace so far
	Said   string
}

var supposable = []farm.JotKind{farm.Fed, farm.Bedded, farm.Sifted}

// Suppose reads what is supposed: "barrel/feed fed 20% more", "bed sifted 50% less".
func Suppose(f *farm.Farm, said string) (*Supposition, error) {
	const example = `; write it like "%s fed 20%% more"`
	like := fmt.Sprintf(example, f.Bins[0].Name)
	words, i := strings.Fields(said), -1
	s := &Supposition{Said: said}
	for n, w := range words { // the last: an end of a bin may be called feed
		for _, k := range supposable {
			if w == string(k) || slices.Contains(strings.Split(k.Row().Forms, ", "), w) {
				s.What, i = k, n
			}
		}
	}
	if i < 1 {
		return nil, errors.New("only more or less that is fed, bedded or sifted can be supposed" + like)
	}
	at, err := f.FindPlace(strings.Join(words[:i], " "))
	if err != nil {
		return nil, err
	}
	s.Place = at
	rest := strings.NewReplacer("per cent", "%", "percent", "%", "twice as much", "100% more", "half as much", "50% less").Replace(strings.Join(words[i+1:], " "))
	percent, how, _ := strings.Cut(rest, "%")
	n, err := strconv.ParseFloat(strings.TrimSpace(percent), 64)
	how = strings.TrimSpace(how)
	switch {
	case err != nil, !(n >= 0 && n <= 1000), how != "more" && how != "less", how == "less" && n > 100:
		return nil, fmt.Errorf("%q is no change of an amount%s", rest, like)
	case how == "less":
		n = -n
	}
	s.Factor = 1 + n/100
	return s, nil
}

// factor is how much more of something is done at a bin than so far.
func (b *Book) factor(j farm.Jot) float64 {
	s := b.If
	if s == nil || s.What != j.What || s.Bin != j.Bin || s.Zone != "" && j.Zone != "" && s.Zone != j.Zone {
		return 1
	}
	return s.Factor
}
