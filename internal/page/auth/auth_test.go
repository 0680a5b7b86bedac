package auth_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"golang.org/x/crypto/bcrypt"

	"binwatchd/internal/page/auth"
)

func TestCheck(t *testing.T) {
	tests := []struct {
		listen   string
		password bool
		wants    string // part of the error; "" wants none
	}{
		{"127.0.0.1:8338", false, ""},
		{"127.8.9.1:8338", false, ""}, // the whole of 127/8 is loopback (RFC 1122 §3.2.1.3)
		{"[::1]:8338", false, ""},
		{"localhost:8338", false, ""},
		{"[::ffff:127.0.0.1]:8338", false, ""},
		{":8338", false, "other machines"},
		{"0.0.0.0:8338", false, "other machines"},
		{"[::]:8338", false, "other machines"},
		{"192.168.1.20:8338", false, "other machines"},
		{"bins.example.org:8338", false, "other machines"},
		{"0.0.0.0:8338", true, ""},
		{":8338", true, ""},
		{"127.0.0.1", false, "HOST:PORT"},
		{"127.0.0.1:http", false, "number"},
		{"127.0.0.1:70000", true, "65535"},
		{"", true, "HOST:PORT"},
	}
	for _, tt := range tests {
		err := auth.Check(tt.listen, tt.password)
		switch {
		case tt.wants == "" && err != nil:
			t.Errorf("Check(%q, %v) = %v, want nil", tt.listen, tt.password, err)
		case tt.wants != "" && (err == nil || !strings.Contains(err.Error(), tt.wants)):
			t.Errorf("Check(%q, %v) = %v, want it to say %q", tt.listen, tt.password, err, tt.wants)
		}
	}
}

// An argon2id hash of "password" with the salt "somesalt", as the reference
// implementation's own test prints it: phc-winner-argon2, src/test.c, 2016
// (from memory), m=65536, t=2, p=1, version 0x13.
const published = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"

func TestPublishedHash(t *testing.T) {
	p, err := auth.ParsePassword(published + "\n")
	if err != nil {
		t.Fatal(err)
	}
	if !p.Matches("password") {
		t.Error("the published password does not match its hash")
	}
	if p.Matches("Password") || p.Matches("") {
		t.Error("another password matches")
	}
}

func TestPasswords(t *testing.T) {
	made, err := auth.HashPassword("compost heap")
	if err != nil {
		t.Fatal(err)
	}
	crypted, err := bcrypt.GenerateFromPassword([]byte("compost heap"), bcrypt.MinCost)
	if err != nil {
		t.Fatal(err)
	}
	apache := "$2y" + strings.TrimPrefix(string(crypted), "$2a") // htpasswd writes 2y for the same thing
	for name, text := range map[string]string{"argon2id": made, "bcrypt": string(crypted), "bcrypt of htpasswd": apache, "plain": "compost heap"} {
		t.Run(name, func(t *testing.T) {
			p, err := auth.ParsePassword(text)
			if err != nil {
				t.Fatal(err)
			}
			if !p.Matches("compost heap") {
				t.Error("the password is refused")
			}
			for _, try := range []string{"", "compost", "compost heap ", strings.Repeat("x", 5000), text + "x"} {
				if p.Matches(try) {
					t.Errorf("%.20q is let in", try)
				}
			}
			if p.Plain() != (name == "plain") {
				t.Errorf("Plain() = %v", p.Plain())
			}
			if s := fmt.Sprintf("%v %+v %#v %s", p, p, p, &p); strings.Contains(s, "heap") || strings.Contains(s, "$") {
				t.Errorf("printed, it shows itself: %s", s)
			}
		})
	}
}

func TestZeroPasswordMatchesNothing(t *testing.T) {
	var p auth.Password
	if p.Matches("") || p.Matches("x") {
		t.Error("a password that was never set lets someone in")
	}
}

func TestBadPasswordFiles(t *testing.T) {
	argon := func(settings, salt, key string) string {
		return "$argon2id$v=19$" + settings + "$" + salt + "$" + key
	}
	const salt, key = "c29tZXNhbHQ", "CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"
	tests := map[string]string{
		"empty":            "\n",
		"another hash":     "$6$rounds=5000$abcdefgh$xyz",
		"torn":             "$argon2id$v=19$m=65536,t=2",
		"old version":      "$argon2id$v=16$m=4096,t=2,p=1$" + salt + "$" + key,
		"hungry":           argon("m=4194304,t=2,p=1", salt, key),
		"slow":             argon("m=4096,t=900,p=1", salt, key),
		"many lanes":       argon("m=4096,t=2,p=200", salt, key),
		"no passes":        argon("m=4096,t=0,p=1", salt, key),
		"short salt":       argon("m=4096,t=2,p=1", "c28", key),
		"short key":        argon("m=4096,t=2,p=1", salt, "CTFh"),
		"not base64":       argon("m=4096,t=2,p=1", salt, "!!!"),
		"something after":  argon("m=4096,t=2,p=1,x=1", salt, key),
		"torn bcrypt":      "$2y$10$abc",
		"expensive bcrypt": "$2y$20$" + strings.Repeat("a", 53),
		"too long":         strings.Repeat("a", 257),
	}
	for name, text := range tests {
		_, err := auth.ParsePassword(text)
		if err == nil {
			t.Errorf("%s: taken for a password", name)
		} else if len(text) > 8 && strings.Contains(err.Error(), text[:8]) {
			t.Errorf("%s: the error quotes the file: %v", name, err)
		}
	}
}

func TestHashPasswordBounds(t *testing.T) {
	for _, plain := range []string{"", "seven77", strings.Repeat("x", 257)} {
		if _, err := auth.HashPassword(plain); err == nil {
			t.Errorf("a password of %d bytes is hashed", len(plain))
		}
	}
	a, _ := auth.HashPassword("compost heap")
	b, _ := auth.HashPassword("compost heap")
	if a == b {
		t.Error("two hashes of one password are alike: the salt is missing")
	}
}

var morning = time.Date(2027, 3, 14, 7, 0, 0, 0, time.UTC)

func known(s *auth.Sessions, token string, now time.Time) bool {
	_, ok := s.Known(token, now)
	return ok
}

func TestSessionsKnowWhoTheyAre(t *testing.T) {
	var s auth.Sessions
	a, b := s.Open(morning, auth.Visitor{Name: "Ann"}), s.Open(morning, auth.Visitor{})
	for token, want := range map[string]string{a: "Ann", b: "", "other": ""} {
		if who, _ := s.Known(token, morning.Add(time.Hour)); who.Name != want {
			t.Errorf("got %q, want %q", who.Name, want)
		}
	}
}

func TestSessions(t *testing.T) {
	var s auth.Sessions
	a, b := s.Open(morning, auth.Visitor{}), s.Open(morning, auth.Visitor{})
	if a == b || len(a) < 20 {
		t.Fatalf("tokens %q and %q", a, b)
	}
	if !known(&s, a, morning) || known(&s, "", morning) || known(&s, "other", morning) {
		t.Error("the wrong ones are known")
	}
	later := morning.Add(auth.SessionLife - time.Hour)
	if !known(&s, a, later) {
		t.Error("forgotten too early")
	}
	if at := morning.Add(auth.SessionLife + time.Hour); !known(&s, a, at) || known(&s, b, at) {
		t.Error("use must prolong a session, and only that one")
	}
	s.Close(a)
	if known(&s, a, later) {
		t.Error("known after it was closed")
	}
}

func TestSessionsAreBounded(t *testing.T) {
	var s auth.Sessions
	first := s.Open(morning, auth.Visitor{})
	kept := s.Open(morning.Add(time.Second), auth.Visitor{})
	for i := range 200 {
		s.Open(morning.Add(time.Duration(i)*time.Minute), auth.Visitor{})
		s.Known(kept, morning.Add(time.Duration(i)*time.Minute))
	}
	if n := s.Len(); n > 64 {
		t.Errorf("%d sessions are kept", n)
	}
	if known(&s, first, morning) {
		t.Error("the one longest unused should have made room")
	}
	if !known(&s, kept, morning.Add(200*time.Minute)) {
		t.Error("one in use had to make room")
	}
}

func TestTries(t *testing.T) {
	var tr auth.Tries
	const from = "192.0.2.7:4711"
	for i := range 5 {
		if _, ok := tr.Take(from, morning); !ok {
			t.Fatalf("try %d is refused", i+1)
		}
	}
	wait, ok := tr.Take(from, morning)
	if ok || wait <= 0 || wait > time.Minute {
		t.Fatalf("sixth try: wait %v, ok %v; want a wait of up to a minute", wait, ok)
	}
	if _, ok := tr.Take("192.0.2.7:9", morning); ok {
		t.Error("another port is another caller")
	}
	if _, ok := tr.Take("192.0.2.8:4711", morning); !ok {
		t.Error("another address is the same caller")
	}
	if _, ok := tr.Take(from, morning.Add(wait)); !ok {
		t.Error("refused after the wait it was told")
	}
	if _, ok := tr.Take(from, morning.Add(wait)); ok {
		t.Error("the wait gave back more than one try")
	}
	tr.Forgive(from)
	if _, ok := tr.Take(from, morning.Add(wait)); !ok {
		t.Error("refused after it was forgiven")
	}
	if _, ok := tr.Take(from, morning.Add(-time.Hour)); !ok {
		t.Error("a clock set back must not lock the keeper out")
	}
}

func TestTriesTellHouseholdsApart(t *testing.T) {
	tests := []struct {
		name, a, b string
		same       bool
	}{
		{"one IPv6 /64", "[2001:db8:1:2::1]:80", "[2001:db8:1:2:ffff::9]:81", true},
		{"two IPv6 /64", "[2001:db8:1:2::1]:80", "[2001:db8:1:3::1]:80", false},
		{"IPv4 in IPv6", "192.0.2.7:1", "[::ffff:192.0.2.7]:2", true},
		{"zones do not count", "[fe80::1%eth0]:1", "[fe80::1%wlan0]:1", true},
		{"what is no address", "pipe", "@", true},
	}
	for _, tt := range tests {
		var tr auth.Tries
		for range 5 {
			tr.Take(tt.a, morning)
		}
		if _, ok := tr.Take(tt.b, morning); ok == tt.same {
			t.Errorf("%s: %s and %s are told apart: %v", tt.name, tt.a, tt.b, ok)
		}
	}
}

func TestTriesOfACrowdAreBounded(t *testing.T) {
	var tr auth.Tries
	allowed := 0
	for i := range 20_000 {
		if _, ok := tr.Take(fmt.Sprintf("[2001:db8:%x:%x::1]:80", i>>8, i&0xff), morning); ok {
			allowed++
		}
	}
	if allowed > 1024+5 {
		t.Errorf("a crowd of 20000 got %d tries at once", allowed)
	}
	if _, ok := tr.Take("192.0.2.99:80", morning.Add(10*time.Minute)); !ok {
		t.Error("the crowd has gone, and a keeper is still refused")
	}
}
