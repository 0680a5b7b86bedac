package farm

import "slices"

// A Person is one of those who look after the farm together.
type Person struct {
	Name   string
	Places []string // the rooms that this one looks after; none: no one in particular
}

// PersonCalled finds a person by name, in any letter case; ok is false when there is none.
func (f *Farm) PersonCalled(name string) (p Person, ok bool) {
	return find(f.People, func(p *Person) bool { return folded(p.Name) == folded(name) })
}

// Names are those of its people.
func (f *Farm) Names() (all []string) {
	for _, p := range f.People {
		all = append(all, p.Name)
	}
	return all
}

// By which way something came, where it is not known from whom.
const (
	ByCommand = "command"
	ByPage    = "page"
	ByMQTT    = "mqtt"
)

// Ways are all of them.
var Ways = []string{ByCommand, ByPage, ByMQTT}

// SayPerson writes who did something for others to read: people of the farm with a capital,
// anything else as it stands; "" where only the way is known that it came.
func (f *Farm) SayPerson(by string) string {
	if slices.Contains(Ways, by) {
		return ""
	}
	if p, ok := f.PersonCalled(by); ok {
		return Capital(p.Name)
	}
	return by
}

// Minds tells whether a bin is on somebody's round: it stands in a place of theirs, or in one
// that is nobody's. Who looks after no place in particular minds all.
func (f *Farm) Minds(p Person, bin string) bool { return f.mindsRoom(p, f.RoomOf(bin)) }

func (f *Farm) mindsRoom(p Person, room string) bool {
	shared := !slices.ContainsFunc(f.People, func(o Person) bool { return slices.Contains(o.Places, room) })
	return len(p.Places) == 0 || shared || slices.Contains(p.Places, room)
}
