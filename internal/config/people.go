package config

import (
	"slices"
	"strings"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
	"binwatchd/internal/secret"
)

// A Person is one of those who look after the farm, as the file has it.
type Person struct {
	Name     string                  `yaml:",name"`
	Password secret.Secret           `yaml:"password" help:"With the name, their way into the page."`
	Token    secret.Secret           `yaml:"token" help:"For a program that acts for them: the page takes it as a bearer token, and a broker of binwatchd's own as the password of the user of their name. 22 random letters and digits at least."`
	Places   []string                `yaml:"places,one" kind:"the name of a place" like:"linden" list:"a list of places" help:"What they look after: their part of the rounds, and what they are told of where an entry of their tell says nothing else."`
	Tell     []notify.TellerSettings `yaml:"tell" kind:"a recipient" list:"a list of recipients, such as [{mail: keeper@example.org}]" help:"How they are told, as in tell; a button of such a mail acts in their name."`
}

// longestPerson bounds the names of people, in bytes, as the page's login does.
const longestPerson = 40

// checkPeople makes the farm's people.
func (b *builder) checkPeople(first map[string]int) {
	names := map[string]string{} // by name in lower case
	for i := range b.file.People {
		d := &b.file.People[i]
		folded := strings.ToLower(d.Name)
		b.refuse(names[folded] != "", d, "%s and %s are one name at the login, which knows no upper and lower case", names[folded], d.Name)
		b.refuse(slices.Contains(farm.Ways, folded), d, "%s says by which way a line came, and can be nobody's name", quoted(d.Name))
		b.refuse(len(d.Name) > longestPerson, d, "the name of a person has at most %d bytes", longestPerson)
		b.refuse(b.count(&d.Password, &d.Token, &d.Tell) == 0, d, "%s has no way to be known: give a password, a token or an entry of tell", d.Name)
		names[folded] = d.Name
		for k := range d.Places {
			b.checkPlace(&d.Places[k])
		}
		for k := range d.Tell {
			b.checkTeller(&d.Tell[k], first)
		}
		of := &b.file.Broker
		taken := of.User == d.Name || of.Keeper != nil && of.Keeper.User == d.Name
		b.refuse(taken && b.present(&d.Token) && b.present(&of.Listen), &d.Token, "%s is a user of the broker already; one name has one password there", d.Name)
		b.farm.People = append(b.farm.People, farm.Person{Name: d.Name, Places: d.Places})
	}
}

// checkPlace finds a place that somebody names.
func (b *builder) checkPlace(name *string) {
	names := namesOf(b.farm.Rooms, func(r farm.Room) string { return r.Name })
	b.refuse(b.set(name) && !slices.Contains(names, *name), name, "there is no place %s: %s", quoted(*name), hint(*name, names))
}

// hasLogin tells whether somebody has a password of their own for the page.
func (b *builder) hasLogin() bool {
	return slices.ContainsFunc(b.file.People, func(p Person) bool { return !p.Password.IsZero() })
}
