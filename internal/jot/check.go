package jot

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
)

// Bounds of what a keeper may write down. Common practice, no source: they catch a
// wrong year and a wrong unit, not a large farm.
const (
	oldest      = 366 * 24 * time.Hour
	ahead       = 10 * time.Minute
	largest     = 10000 // kg or L
	longestWord = 64    // bytes of a kind of food
	longestNote = 1000  // bytes
)

// kgPerL is what a litre of what goes into a bin weighs at most, near enough: water
// does, and wet food a little less.
const kgPerL = 1

// Place puts the configuration's names in place of those that a keeper wrote in
// Bin, which may name a zone too, and in To.
func Place(f *farm.Farm, j *farm.Jot) error {
	if j.Bin != "" || j.What != farm.Noted {
		at, err := f.FindPlace(j.Bin)
		if err != nil {
			return err
		}
		j.Bin, j.Zone = at.Bin, at.Zone
	}
	if j.To == "" {
		return nil
	}
	to, err := f.FindPlace(j.To)
	if err != nil {
		return fmt.Errorf("to: %w", err)
	}
	j.To = to.Bin
	return nil
}

// Check tells what is wrong with a jot, wherever it came from: an unknown bin, zone
// or deed, an amount no bin can hold, a time to come. Now is the time of arrival; a
// zero one leaves the jot's time unchecked.
func Check(f *farm.Farm, j farm.Jot, now time.Time) error {
	row := j.What.Row()
	switch {
	case !slices.Contains(farm.JotKinds, j.What):
		return fmt.Errorf("what: %q is not one of %s, or one of the things seen", clipped(string(j.What), longestWord), listed(append(doings(), farm.Noted)))
	case !now.IsZero() && j.At.Sub(now) > ahead:
		return errors.New("at: lies in the future: " + j.At.Format(time.RFC3339))
	case now.Sub(j.At) > oldest:
		return errors.New("at: more than a year ago: " + j.At.Format(time.RFC3339))
	case !printable(j.Of, longestWord) || !printable(j.By, longestWord):
		return fmt.Errorf("of: not a word: %q", clipped(j.Of, longestWord))
	case !printable(j.Words, longestNote+len("…")):
		return fmt.Errorf("words: no text, or longer than %d letters", longestNote)
	case j.Words != "" && j.What != farm.Noted:
		return fmt.Errorf("words: only what is noted has words, not what is %s", j.What)
	case j.What == farm.Noted && j.Words == "":
		return errors.New("words: there are none to note")
	case j.Bin == "" && j.What == farm.Noted:
		return nil
	}
	if err := CheckPlace(f, j.Bin, j.Zone); err != nil {
		return err
	}
	switch err := cmp.Or(checkAmount(f, j), checkStore(f, j)); {
	case err != nil:
		return err
	case row.Of == farm.Worms && j.Of != "" && j.Of != farm.OfCastings && j.What == farm.Stocked && !slices.ContainsFunc(f.Species, func(s farm.Species) bool { return s.ID == j.Of }):
		return fmt.Errorf("of: no species %q", clipped(j.Of, longestWord))
	case j.To == "":
		return nil
	case j.What != farm.Sifted:
		return fmt.Errorf("to: only what is sifted goes to another bin, not what is %s", j.What)
	}
	if err := CheckPlace(f, j.To, ""); err != nil {
		return fmt.Errorf("to: %w", err)
	}
	return nil
}

// checkAmount refuses what the bin can't hold.
func checkAmount(f *farm.Farm, j farm.Jot) error {
	for _, v := range []float64{j.Kg, j.Litres} {
		if v < 0 || v > largest || math.IsNaN(v) {
			return fmt.Errorf("amount: must be from 0 to %d kg or L", largest)
		}
	}
	if j.What == farm.Holds && j.Litres == 0 {
		return errors.New("amount: say how many litres or gallons it holds; emptied says that nothing is left")
	}
	if !j.What.Row().Amount && j.Kg+j.Litres > 0 {
		return fmt.Errorf("amount: what is %s has none", j.What)
	}
	b, _ := f.BinByName(j.Bin)
	most := b.VolumeL
	if to, ok := f.BinByName(j.To); ok && to.VolumeL > 0 && j.Litres > to.VolumeL {
		b, most = to, to.VolumeL
	}
	if most > 0 && (j.Litres > most || j.Kg > most*kgPerL) {
		said := quantity.FormatVolume(j.Litres)
		if j.Kg > 0 {
			said = quantity.FormatMass(j.Kg)
		}
		return fmt.Errorf("amount: %s is more than %s holds (%s)", said, b.Name, quantity.FormatVolume(most))
	}
	return nil
}

// checkStore keeps apart the worms of a bin and the castings of a tub, which are counted
// otherwise and go other ways.
func checkStore(f *farm.Farm, j farm.Jot) error {
	castings, tub := j.Of == farm.OfCastings, keeps(f, j)
	const leave = "castings that leave a tub are sold, used, spread or emptied"
	switch {
	case j.What == farm.Lifted && j.Litres > 0:
		return errors.New("amount: worms are lifted by weight; " + leave)
	case j.What == farm.Sifted && tub && (j.To == "" || j.To == j.Bin):
		return errors.New("to: " + leave + "; what is sifted from one tub goes to another")
	case j.What == farm.Stocked && !tub && (castings || j.Litres > 0):
		return errors.New("amount: worms are stocked by weight; castings go into a bin that keeps them")
	case j.What == farm.Stocked && castings && j.Kg > 0:
		return errors.New("amount: castings are counted in litres or gallons")
	}
	return nil
}

// keeps tells whether castings are kept where a jot belongs.
func keeps(f *farm.Farm, j farm.Jot) bool {
	b, _ := f.BinByName(j.Bin)
	return len(b.Zones) > 0 && !slices.ContainsFunc(b.Zones, func(z farm.Zone) bool { return z.Aim != farm.Keeping && (j.Zone == "" || z.Name == j.Zone) })
}

// CheckPlace looks for a bin and, when one is named, its zone, by their very names.
func CheckPlace(f *farm.Farm, bin, zone string) error {
	want := farm.Place{Bin: bin, Zone: zone}
	got, err := f.FindPlace(want.String())
	if err == nil && got != want {
		err = fmt.Errorf("no place %q; it is called %s", clipped(want.String(), longestWord), got)
	}
	return err
}

func listed[T ~string](all []T) string {
	out := make([]string, 0, len(all))
	for _, w := range all {
		out = append(out, string(w))
	}
	return strings.Join(out, ", ")
}

// printable tells whether a text is short enough and fit to be shown.
func printable(s string, most int) bool {
	return len(s) <= most && !strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f || r == '\uFFFD' })
}
