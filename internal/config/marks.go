package config

import "reflect"

// Marks say of each value where it stands in the file, by a pointer to it. What
// the file does not have and no default gives has none.
type marks map[any]mark

// A mark is what is known of a value beside itself.
type mark struct {
	at     place
	spoilt bool   // the file has the key and no right value: reported where it is read, not to be reported as missing too
	origin string // where a value comes from that the file does not have; "" for the file's own
}

// byDefault is the origin of a value that a tag supplies.
const byDefault = "default"

func pointer(v reflect.Value) any { return v.Addr().Interface() }

// at is where the value at p stands.
func (m marks) at(p any) place { return m[p].at }

// set tells whether there is a right value, be it the file's or a default.
func (m marks) set(p any) bool {
	x, found := m[p]
	return found && !x.spoilt
}

// present tells whether the key is there, even if its value is wrong.
func (m marks) present(p any) bool {
	_, found := m[p]
	return found
}

// spoilt tells whether the key is there and its value is wrong.
func (m marks) spoilt(p any) bool { return m[p].spoilt }

// given tells whether the file itself has the value.
func (m marks) given(p any) bool { return m.set(p) && m[p].origin == "" }

// or lets a default stand in for a value that was not given.
func or[V any](m marks, p *V, v V, origin string) {
	if !m.set(p) {
		*p, m[p] = v, mark{at: m[p].at, origin: origin}
	}
}

// overlay copies from a section the values that are set.
func overlay[T any](m marks, from, onto *T) {
	m.copy(reflect.ValueOf(from).Elem(), reflect.ValueOf(onto).Elem())
}

func (m marks) copy(from, onto reflect.Value) {
	for i := range from.NumField() {
		f := from.Field(i)
		switch {
		case !m.set(pointer(f)):
		case isSection(f.Type()):
			m.copy(f, onto.Field(i))
		default:
			onto.Field(i).Set(f)
		}
	}
}

// all marks whatever a section has, so that it is written whole: its numbers,
// and the texts and sections in it that aren't empty.
func (m marks) all(section reflect.Value) {
	for i := range section.NumField() {
		f := section.Field(i)
		if f.Kind() != reflect.Float64 && f.IsZero() {
			continue
		}
		m[pointer(f)] = mark{}
		if f.Kind() == reflect.Struct {
			m.all(f)
		}
	}
}
