package auth_test

import (
	"testing"

	"golang.org/x/crypto/bcrypt"

	"binwatchd/internal/page/auth"
)

func hashOf(t *testing.T, plain string) string {
	t.Helper()
	hash, err := bcrypt.GenerateFromPassword([]byte(plain), bcrypt.MinCost)
	if err != nil {
		t.Fatal(err)
	}
	return string(hash)
}

func door(t *testing.T, shared string, people ...auth.Person) *auth.Door {
	t.Helper()
	var p auth.Password
	var err error
	if shared != "" {
		if p, err = auth.ParsePassword(shared); err != nil {
			t.Fatal(err)
		}
	}
	d, err := auth.NewDoor(p, people)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestWhoIsAdmitted(t *testing.T) {
	mara, joerg := auth.Person{Name: "mara", Password: hashOf(t, "leaf mould")}, auth.Person{Name: "Jörg", Password: "leaf mould"}
	helper := auth.Person{Name: "helper"}
	for _, tt := range []struct {
		about, shared, name, try string
		people                   []auth.Person
		who                      string
		ok                       bool
	}{
		{"by the own password", "", "mara", "leaf mould", []auth.Person{mara}, "mara", true},
		{"in another case", "", "JÖRG", "leaf mould", []auth.Person{mara, joerg}, "Jörg", true},
		{"of two with the same password the one who is named", "", "mara", "leaf mould", []auth.Person{joerg, mara}, "mara", true},
		{"without a name", "", "", "leaf mould", []auth.Person{mara}, "", false},
		{"another name", "", "marb", "leaf mould", []auth.Person{mara}, "", false},
		{"the shared password under a name with one of its own", "compost heap", "mara", "compost heap", []auth.Person{mara}, "", false},
		{"the shared password under any other", "compost heap", "Ann", "compost heap", []auth.Person{mara}, "Ann", true},
		{"the shared password under that of somebody without one", "compost heap", "helper", "compost heap", []auth.Person{mara, helper}, "helper", true},
		{"another's", "compost heap", "Ann", "leaf mould", []auth.Person{mara}, "", false},
		{"nobody has one", "", "helper", "", []auth.Person{helper}, "", false},
	} {
		who, ok := door(t, tt.shared, tt.people...).Admit(tt.name, tt.try)
		if ok != tt.ok || ok && who.Name != tt.who {
			t.Errorf("%s: got %q, %v", tt.about, who.Name, ok)
		}
	}
	if _, err := auth.NewDoor(auth.Password{}, []auth.Person{{Name: "mara", Password: "$torn"}}); err == nil {
		t.Error("a torn hash is taken for a password")
	}
}

// A door that is hung in the place of another holds who came in by it, unless their password
// is another one or they are gone. A name that gets a password is its owner's from then on.
func TestWhoStaysInside(t *testing.T) {
	mara := auth.Person{Name: "mara", Password: "leaf mould"}
	before := door(t, "compost heap", mara)
	own, _ := before.Admit("mara", "leaf mould")
	shared, _ := before.Admit("jo", "compost heap")
	for about, after := range map[string]struct {
		people []auth.Person
		own    bool
		jo     string
	}{
		"the same":             {[]auth.Person{mara}, true, "jo"},
		"one more":             {[]auth.Person{mara, {Name: "Jo", Password: "bark"}}, true, ""},
		"another password":     {[]auth.Person{{Name: "mara", Password: "leaf mold"}}, false, "jo"},
		"another name":         {[]auth.Person{{Name: "maria", Password: "leaf mould"}}, false, "jo"},
		"no password any more": {[]auth.Person{{Name: "mara"}}, false, "jo"},
		"gone":                 {nil, false, "jo"},
	} {
		d := door(t, "compost heap", after.people...)
		if who, ok := d.Holds(own); ok != after.own || ok && who.Name != "mara" {
			t.Errorf("%s: got %q, %v of mara", about, who.Name, ok)
		}
		if who, ok := d.Holds(shared); !ok || who.Name != after.jo {
			t.Errorf("%s: got %q, %v of who calls himself jo", about, who.Name, ok)
		}
	}
	if _, ok := door(t, "", mara).Holds(shared); ok {
		t.Error("the shared password is gone, and who came in by it is still inside")
	}
}

func TestTokens(t *testing.T) {
	d := door(t, "", auth.Person{Name: "mara", Token: "0123456789abcdefghijkl"}, auth.Person{Name: "jo"})
	if who, ok := d.Bearer("0123456789abcdefghijkl"); !ok || who.Name != "mara" {
		t.Errorf("got %q, %v", who.Name, ok)
	}
	for _, wrong := range []string{"", "0123456789abcdefghijk", "mara"} {
		if _, ok := d.Bearer(wrong); ok {
			t.Errorf("%q is let in", wrong)
		}
	}
}
