package auth

import (
	"crypto/sha256"
	"crypto/subtle"
	"fmt"
	"strings"
)

// A Person may come in under a name of their own.
type Person struct {
	Name     string
	Password string // text of the password file; "": the page's own will do
	Token    string // shown by a program in place of a login; "": none
}

// A Door knows who may come in. It never changes: a reload hangs another.
type Door struct {
	shared Password       // for whoever has no password of their own
	own    map[string]key // by name in lower case
	tokens map[string][sha256.Size]byte
	slow   Password // a hash, where there is any
}

// A key is a person's own password, and a mark that tells it from another.
type key struct {
	name     string
	password Password
	mark     [sha256.Size]byte
}

// A Visitor is who has come in, and by which key.
type Visitor struct {
	Name string // "": they did not say
	mark [sha256.Size]byte
}

// NewDoor makes a door. Its errors name people, and quote no password.
func NewDoor(shared Password, people []Person) (*Door, error) {
	d := &Door{shared: shared, own: map[string]key{}, tokens: map[string][sha256.Size]byte{}, slow: shared}
	for _, p := range people {
		if p.Token != "" {
			d.tokens[p.Name] = sha256.Sum256([]byte(p.Token))
		}
		if p.Password == "" {
			continue
		}
		password, err := ParsePassword(p.Password)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", p.Name, err)
		}
		d.own[folded(p.Name)] = key{p.Name, password, sha256.Sum256([]byte(p.Name + "\x00" + p.Password))}
		if !password.Plain() {
			d.slow = password
		}
	}
	return d, nil
}

func folded(name string) string { return strings.ToLower(strings.ToUpper(name)) }

// Locked tells whether there is any password.
func (d *Door) Locked() bool { return d.shared.matches != nil || len(d.own) > 0 }

// Named tells whether some have passwords of their own.
func (d *Door) Named() bool { return len(d.own) > 0 }

// Owned tells whether a name has a password of its own.
func (d *Door) Owned(name string) bool {
	_, own := d.own[folded(name)]
	return own
}

// Admit weighs a password under a name. It takes as long for a name that there is not as for
// one with a wrong password, where all are kept as hashes of one make.
func (d *Door) Admit(name, try string) (who Visitor, ok bool) {
	k, own := d.own[folded(name)]
	weighed := d.shared
	switch {
	case own:
		who, weighed = Visitor{k.name, k.mark}, k.password
	default:
		who.Name = name
	}
	if ok = weighed.Matches(try); !ok && (weighed.matches == nil || weighed.plain) {
		d.slow.Matches(try)
	}
	return who, ok
}

// Bearer gives whose token it is.
func (d *Door) Bearer(token string) (who Visitor, ok bool) {
	sum := sha256.Sum256([]byte(token))
	for name, is := range d.tokens {
		if subtle.ConstantTimeCompare(sum[:], is[:]) == 1 {
			who, ok = Visitor{Name: name}, true
		}
	}
	return who, ok
}

// Holds gives who somebody is who came in before, perhaps by another door: ok is false where
// their password has changed since, or they have none any more. A name that has a password of its own is
// its owner's alone.
func (d *Door) Holds(who Visitor) (now Visitor, ok bool) {
	k, own := d.own[folded(who.Name)]
	switch {
	case who.mark != [sha256.Size]byte{}:
		return who, own && k.mark == who.mark
	case own:
		who.Name = ""
	}
	return who, d.shared.matches != nil
}
