package config

import (
	"cmp"
	"fmt"
	"path"
	"slices"
	"strings"

	"binwatchd/internal/farm"
)

// A Room is a place as the file has it: a shed, a cellar, a yard.
type Room struct {
	Name  string   `yaml:",name"`
	Air   string   `yaml:"air" kind:"a probe" like:"yard-air" help:"The temperature probe in its air: the ambient of its bins that name none."`
	Bins  []string `yaml:"bins,one" kind:"a bin or a pattern" like:"linden-*" list:"a list of bins" need:"[trough]" help:"The bins that stand in it; a * stands for any part of a name."`
	Ahead Ahead    `yaml:"ahead,flow" kind:"ahead" help:"The weather of the hours to come, where something publishes that."`
}

// Ahead is where the weather to come is heard.
type Ahead struct {
	Topic string `yaml:"topic" kind:"a single topic" need:"weather/hours" like:"weather/hours" help:"The MQTT topic of a JSON list of times and degrees Celsius."`
}

// buildRooms puts each bin into the room whose bins name it, or fit a pattern of
// its, and gives it that room's air where it has none of its own.
func (b *builder) buildRooms() {
	in := map[string]*Room{} // by bin
	for i := range b.file.Places {
		d := &b.file.Places[i]
		b.farm.Rooms = append(b.farm.Rooms, farm.Room{Name: d.Name, Air: d.Air, Ahead: d.Ahead.Topic})
		for k := range d.Bins {
			b.fillRoom(d, &d.Bins[k], in)
		}
	}
	for i := range b.farm.Bins {
		bin, d := &b.farm.Bins[i], &b.file.Bins[i]
		room := in[bin.Name]
		if room == nil {
			continue
		}
		if bin.Room = room.Name; b.set(&room.Air) {
			or(b.marks, &d.Ambient, room.Air, "the place's")
			bin.Ambient = d.Ambient
		}
	}
}

// fillRoom puts the bins into a room that a name or a pattern of its means.
func (b *builder) fillRoom(d *Room, pattern *string, in map[string]*Room) {
	for _, name := range b.binsLike(pattern) {
		other := in[name]
		b.refuse(other != nil && other != d, pattern, "%s already stands in %s; a bin has one place", name, nameOf(other))
		b.refuse(other == d, pattern, "%s is meant twice", name)
		in[name] = d
	}
}

// nameOf is the name of a place; "" of none.
func nameOf(d *Room) string {
	if d == nil {
		return ""
	}
	return d.Name
}

// wrongPattern tells what keeps a text from meaning bins.
func wrongPattern(s string) string {
	return wrongName(strings.ReplaceAll(s, "*", "x"))
}

// wrongSingle tells what keeps a text from being one topic.
func wrongSingle(s string) string {
	if strings.ContainsAny(s, "+#{}") {
		return fmt.Sprintf("%s is not one topic: here it has no + and no #, and no named parts", quoted(s))
	}
	return ""
}

// checkRooms checks the probes in the air of places, once all probes are known.
func (b *builder) checkRooms(placed map[string]farm.Place) {
	for i := range b.file.Places {
		d := &b.file.Places[i]
		own := cmp.Or(b.file.Broker.Prefix, "binwatch") + "/"
		b.refuse(strings.HasPrefix(d.Ahead.Topic, own), &d.Ahead.Topic, "topics under %s are binwatchd's own; the weather comes on another", own)
		if k := slices.IndexFunc(b.file.Probes, func(p Probe) bool { return p.Topic == d.Ahead.Topic }); b.set(&d.Ahead.Topic) && k >= 0 {
			b.problem(b.at(&d.Ahead.Topic), "%s is the topic of %s as well; what comes there cannot be both a reading and the weather to come",
				d.Ahead.Topic, b.file.Probes[k].Name)
		}
		b.refuse(b.isNoAir(d.Air), &d.Air, "%s measures %s; the air of a place is a temperature", d.Air, b.probes[d.Air].Measures)
		if where, ok := placed[d.Air]; ok {
			stands := slices.ContainsFunc(b.farm.Bins, func(bin farm.Bin) bool {
				return bin.Name == where.Bin && bin.Room == d.Name && bin.Ambient == d.Air
			})
			b.refuse(stands, &d.Air, "%s stands in %s and cannot also be the air around it", d.Air, where)
		}
	}
}

// isNoAir tells whether a probe measures something else than a temperature.
func (b *builder) isNoAir(id string) bool {
	probe, known := b.probes[id]
	return known && probe.Measures != farm.Temperature
}

// binsLike lists the bins that a name or a pattern means, and notes the mistake where
// there is none.
func (b *builder) binsLike(pattern *string) []string {
	if !b.set(pattern) {
		return nil // its problem is known
	}
	names := namesOf(b.farm.Bins, func(bin farm.Bin) string { return bin.Name })
	fits := slices.DeleteFunc(slices.Clone(names), func(name string) bool {
		ok, _ := path.Match(*pattern, name)
		return !ok
	})
	switch at := b.at(pattern); {
	case len(names) == 0: // that there are no bins is known
	case len(fits) == 0 && strings.Contains(*pattern, "*"):
		b.problem(at, "no bin is called like %s: known are %s", quoted(*pattern), enumerate(names))
	case len(fits) == 0:
		b.problem(at, "%s", b.noBin(*pattern))
	}
	return fits
}

// walk puts the farm's bins into the order of the keeper's path, those that it does not
// name behind.
func (b *builder) walk() {
	stops := map[string]int{} // by bin
	for i := range b.file.Path {
		for _, name := range b.binsLike(&b.file.Path[i]) {
			if _, twice := stops[name]; !twice {
				stops[name] = i - len(b.file.Path)
			}
		}
	}
	slices.SortStableFunc(b.farm.Bins, func(x, y farm.Bin) int { return cmp.Compare(stops[x.Name], stops[y.Name]) })
}
