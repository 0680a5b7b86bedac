package main

import (
	"fmt"
	"os"
	"slices"
	"strings"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/page"
	"binwatchd/internal/page/auth"
)

// peopleOf reads what the people of a farm come in by.
func peopleOf(cfg *config.Config, o *opener) (all []auth.Person) {
	for _, p := range cfg.People {
		one := auth.Person{Name: p.Name, Password: o.reveal(p.Name+"'s password", p.Password), Token: o.reveal(p.Name+"'s token", p.Token)}
		o.note(p.Name+"'s password", page.CheckPassword(one.Password))
		if one.Token != "" {
			o.note(p.Name+"'s token", page.CheckKey(one.Token))
		}
		all = append(all, one)
	}
	return all
}

// loginsOf are the users under whose names they may jot at a broker of our own.
func loginsOf(people []auth.Person) (all []ingest.Login) {
	for _, p := range people {
		if p.Token != "" {
			all = append(all, ingest.Login{User: p.Name, Password: p.Token})
		}
	}
	return all
}

// hasLogin tells whether somebody has a password of their own.
func hasLogin(people []auth.Person) bool {
	return slices.ContainsFunc(people, func(p auth.Person) bool { return p.Password != "" })
}

// admit puts other people in force, whose secrets have been read and found good.
func (d *daemon) admit(people []auth.Person) {
	if in, ok := d.intake.(*ingest.Listener); ok {
		in.Admit(loginsOf(people))
	}
	if d.page != nil {
		if err := d.page.Admit(people); err != nil {
			d.log.Warn("people come in as before", "error", err)
		}
	}
}

// byHelp and forHelp are of the flags that name one of the people.
const (
	byHelp  = "`NAME` of whoever does it; left out it is who is logged in here, if people: has that name"
	forHelp = "`NAME` of whose part is wanted: what stands in their places, and in nobody's"
)

// signature is who a command says it is by: with people in the configuration one of them,
// and where nothing is said whoever is logged in at the terminal, if that is one of them.
func signature(f *farm.Farm, by string) (string, error) {
	switch {
	case by != "" && len(f.People) == 0:
		return by, nil
	case by != "":
		p, err := personNamed(f, by)
		return p.Name, err
	}
	if p, ok := f.PersonCalled(os.Getenv("USER")); ok {
		return p.Name, nil
	}
	return farm.ByCommand, nil
}

// personNamed finds one of the people of the farm.
func personNamed(f *farm.Farm, name string) (farm.Person, error) {
	p, known := f.PersonCalled(name)
	switch {
	case known:
		return p, nil
	case len(f.People) == 0:
		return p, fmt.Errorf("nobody is called %q: there is no people: in the configuration", name)
	}
	return p, fmt.Errorf("nobody is called %q; people: has %s", name, strings.Join(f.Names(), ", "))
}
