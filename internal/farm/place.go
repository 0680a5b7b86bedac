package farm

import (
	"cmp"
	"fmt"
	"iter"
	"slices"
	"strings"
	"unicode"
)

// A Place is a bin or one of its zones, by the names of the configuration.
type Place struct{ Bin, Zone string } // Zone "": the bin as a whole

// String writes a place as the commands take it: "bed/near".
func (p Place) String() string {
	if p.Zone == "" {
		return p.Bin
	}
	return p.Bin + "/" + p.Zone
}

// ZoneOf is the zone that names a probe; no place when none does, as for the air of
// a room or a battery.
func (f *Farm) ZoneOf(probe string) Place {
	for _, b := range f.Bins {
		for _, z := range b.Zones {
			if slices.Contains(z.Probes, probe) {
				return Place{b.Name, z.Name}
			}
		}
	}
	return Place{}
}

// AirOf names the room whose air a probe measures: by itself where no room is named,
// for the air of two rooms is not one. "" is a probe that measures no room's air.
func (f *Farm) AirOf(probe string) string {
	for _, r := range f.Rooms {
		if r.Air == probe {
			return r.Name
		}
	}
	for _, b := range f.Bins {
		if b.Ambient == probe {
			return cmp.Or(b.Room, probe)
		}
	}
	return ""
}

// FindPlace finds the bin or zone that a name means: as the configuration
// writes it ("bed/near"), as notices do ("Bed, near", "Linden-02"), in any
// letter case, or as it was called before. What the configuration writes so exactly
// is meant first, and a former name last; a name that fits several is an error that
// lists them.
func (f *Farm) FindPlace(name string) (Place, error) {
	var fits, former []Place
	for _, b := range f.Bins {
		for _, bin := range append([]string{b.Name}, b.Was...) {
			for called, p := range b.places(bin) {
				switch {
				case called == p && p.String() == name:
					return p, nil
				case folded(called.String()) != folded(name):
				case called == p:
					fits = append(fits, p)
				case !slices.Contains(former, p):
					former = append(former, p)
				}
			}
		}
	}
	if len(fits) == 0 {
		fits = former
	}
	switch len(fits) {
	case 1:
		return fits[0], nil
	case 0:
		return Place{}, f.noPlace(name)
	}
	return Place{}, fmt.Errorf("several places called %q: %s; write it as here", clip(name), listed(fits, Place.String))
}

// places gives a bin and its zones by what they are or were called, where the bin has a
// name.
func (b *Bin) places(bin string) iter.Seq2[Place, Place] {
	return func(yield func(called, is Place) bool) {
		if !yield(Place{Bin: bin}, Place{Bin: b.Name}) {
			return
		}
		for _, z := range b.Zones {
			for _, zone := range append([]string{z.Name}, z.Was...) {
				if !yield(Place{bin, zone}, Place{b.Name, z.Name}) {
					return
				}
			}
		}
	}
}

// FindPlaceIn finds the place that words begin with, and gives the words after
// it: a shell parts "Bed, near" in two. The longest beginning that means a
// place is taken.
func (f *Farm) FindPlaceIn(words []string) (p Place, rest []string, err error) {
	const longest = 8
	for n := min(len(words), longest); n > 0; n-- {
		name := strings.Join(words[:n], " ")
		// "bed," wants a zone after it, and what follows was none.
		if p, err = f.FindPlace(name); err == nil && !(n < len(words) && strings.HasSuffix(words[n-1], ",")) {
			return p, words[n:], nil
		}
	}
	if n := min(len(words), 2); n > 0 && strings.HasSuffix(words[0], ",") {
		return Place{}, nil, f.noPlace(strings.Join(words[:n], " "))
	}
	return Place{}, nil, err
}

// folded makes names alike that a person takes for the same: in any letter case,
// parted by a slash, a comma or blanks.
func folded(name string) string {
	parts := strings.FieldsFunc(name, func(r rune) bool { return unicode.IsSpace(r) || r == ',' || r == '/' })
	return strings.ToLower(strings.ToUpper(strings.Join(parts, " ")))
}

// noPlace says what there is in place of a name that means nothing.
func (f *Farm) noPlace(name string) error {
	bin, zone, ok := strings.Cut(name, "/")
	if !ok {
		bin, zone, _ = strings.Cut(name, ",")
	}
	for _, b := range f.Bins {
		if zone = strings.TrimSpace(zone); zone != "" && folded(b.Name) == folded(bin) {
			return fmt.Errorf("no zone %q in %s; there are %s", clip(zone), b.Name, listed(b.Zones, func(z Zone) string { return z.Name }))
		}
	}
	return fmt.Errorf("no bin %q; there are %s", clip(strings.TrimSpace(bin)), listed(f.Bins, func(b Bin) string { return b.Name }))
}

// listed joins names, the first of them where they are many.
func listed[T any](all []T, name func(T) string) string {
	const most = 24
	var names []string
	for _, t := range all[:min(len(all), most)] {
		names = append(names, name(t))
	}
	if more := len(all) - most; more > 0 {
		names = append(names, fmt.Sprintf("%d more", more))
	}
	return strings.Join(names, ", ")
}

// clip shortens a name from outside for a message.
func clip(s string) string {
	const longest = 64 // bytes
	if len(s) <= longest {
		return s
	}
	return strings.ToValidUTF8(s[:longest], "") + "…"
}
