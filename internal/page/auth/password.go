package auth

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"

	"golang.org/x/crypto/argon2"
	"golang.org/x/crypto/bcrypt"
)

// A Password is what the page is locked with: an argon2id or bcrypt hash, or
// a plain text. It prints as nothing useful.
type Password struct {
	matches func(try string) bool // nil: nothing does
	plain   bool
}

// String hides the password.
func (Password) String() string { return "(password)" }

// GoString hides the password from %#v too.
func (Password) GoString() string { return "(password)" }

// maxPassword bounds what a stranger can make us hash, bytes.
const maxPassword = 256

// ParsePassword reads a password file's text: "$argon2id$..." (PHC string
// format), "$2y$..." (bcrypt, as htpasswd -B writes it) or a plain password.
// What begins with $ but is neither is an error, lest a torn hash be taken for
// a password. Errors never quote the text.
func ParsePassword(text string) (Password, error) {
	text = strings.TrimRight(text, "\r\n")
	switch {
	case text == "":
		return Password{}, errors.New("page password: the file is empty")
	case strings.HasPrefix(text, "$argon2id$"):
		return parseArgon(text)
	case strings.HasPrefix(text, "$2"):
		cost, err := bcrypt.Cost([]byte(text))
		switch {
		case err != nil:
			return Password{}, errors.New("page password: not a whole bcrypt hash")
		case cost > maxBcryptCost:
			return Password{}, fmt.Errorf("page password: bcrypt cost %d is over %d, too slow for a small machine", cost, maxBcryptCost)
		}
		return Password{matches: func(try string) bool {
			return bcrypt.CompareHashAndPassword([]byte(text), []byte(try)) == nil
		}}, nil
	case strings.HasPrefix(text, "$"):
		return Password{}, errors.New("page password: looks like a hash, but only argon2id and bcrypt are known here")
	case len(text) > maxPassword:
		return Password{}, fmt.Errorf("page password: longer than %d bytes", maxPassword)
	}
	want := sha256.Sum256([]byte(text))
	return Password{plain: true, matches: func(try string) bool {
		got := sha256.Sum256([]byte(try))
		return subtle.ConstantTimeCompare(got[:], want[:]) == 1
	}}, nil
}

// maxBcryptCost keeps one try under some seconds on a small machine.
const maxBcryptCost = 14

// Plain tells whether the file holds the password itself instead of a hash.
func (p Password) Plain() bool { return p.plain }

// Matches tells whether try is the password. It takes as long for a wrong one
// as for the right one. The zero Password matches nothing.
func (p Password) Matches(try string) bool {
	return p.matches != nil && len(try) <= maxPassword && p.matches(try)
}

// HashPassword makes the line to put into a password file: argon2id with 19
// MiB, two passes and one lane (OWASP Password Storage Cheat Sheet, 2023),
// which a Pi Zero computes in a second or two.
func HashPassword(plain string) (string, error) {
	switch {
	case len(plain) < 8: // NIST SP 800-63B, 2017, §5.1.1.2: at least 8 characters
		return "", errors.New("a page password needs at least 8 characters")
	case len(plain) > maxPassword:
		return "", fmt.Errorf("a page password has at most %d bytes", maxPassword)
	}
	h := argonHash{memoryKiB: 19 * 1024, passes: 2, lanes: 1, salt: make([]byte, 16)}
	rand.Read(h.salt) // never fails: crypto/rand stops the program instead
	h.key = argon2.IDKey([]byte(plain), h.salt, h.passes, h.memoryKiB, h.lanes, 32)
	return h.String(), nil
}

// An argonHash is an argon2id hash with its settings (RFC 9106).
type argonHash struct {
	memoryKiB uint32
	passes    uint32
	lanes     uint8
	salt, key []byte
}

func (h *argonHash) matches(try string) bool {
	key := argon2.IDKey([]byte(try), h.salt, h.passes, h.memoryKiB, h.lanes, uint32(len(h.key)))
	return subtle.ConstantTimeCompare(key, h.key) == 1
}

// String writes the PHC string format.
func (h *argonHash) String() string {
	e := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version,
		h.memoryKiB, h.passes, h.lanes, e.EncodeToString(h.salt), e.EncodeToString(h.key))
}

var errTornArgon = errors.New("page password: not a whole argon2id hash")

// parseArgon reads the PHC string format and refuses settings that would bring
// a small machine to its knees at every try.
func parseArgon(text string) (Password, error) {
	var h argonHash
	var version int
	parts := strings.Split(text, "$")
	if len(parts) != 6 {
		return Password{}, errTornArgon
	}
	if _, err := fmt.Sscanf(parts[2]+" "+parts[3], "v=%d m=%d,t=%d,p=%d", &version, &h.memoryKiB, &h.passes, &h.lanes); err != nil {
		return Password{}, errors.New("page password: the argon2id settings cannot be read")
	}
	var errSalt, errKey error
	h.salt, errSalt = base64.RawStdEncoding.DecodeString(parts[4])
	h.key, errKey = base64.RawStdEncoding.DecodeString(parts[5])
	switch {
	case version != argon2.Version:
		return Password{}, fmt.Errorf("page password: argon2id version %d, want %d", version, argon2.Version)
	case h.String() != text || // something trails the settings
		errSalt != nil || errKey != nil || len(h.salt) < 8 || len(h.salt) > 64 || len(h.key) < 16 || len(h.key) > 64:
		return Password{}, errTornArgon
	case h.memoryKiB < 8 || h.memoryKiB > 64*1024 || h.passes < 1 || h.passes > 8 || h.lanes < 1 || h.lanes > 4:
		return Password{}, errors.New("page password: argon2id settings beyond 64 MiB, 8 passes or 4 lanes")
	}
	return Password{matches: h.matches}, nil
}
