package farm

import (
	"crypto/sha256"
	"time"
)

// A Token lets one person act on the episodes that a mail names together, without logging in.
// Only its hash is kept.
type Token struct {
	Hash     [sha256.Size]byte
	Who      string // name of the person, or else the address
	Episodes []string
	Until    time.Time
}

// TokenLife is how long a token works.
const TokenLife = 7 * 24 * time.Hour

// HashToken is what is kept of a token's text.
func HashToken(text string) [sha256.Size]byte { return sha256.Sum256([]byte(text)) }

// A MailAct is what a button of a mail does.
type MailAct string

const (
	MailDone  MailAct = "done"  // a jot, and never an easing
	MailKnown MailAct = "known" // seen
	MailTake  MailAct = "take"  // seen, and looked after until tonight
	MailQuiet MailAct = "quiet" // a hush of QuietByMail
)

// QuietByMail is how long the button of a mail keeps quiet.
const QuietByMail = 48 * time.Hour

// A MailButton is one button of a mail.
type MailButton struct {
	Do    MailAct
	Words string
	OfBin bool // it needs a bin
	Named bool // it needs a person of the farm
}

// MailButtons are the buttons in their order.
var MailButtons = []MailButton{
	{MailDone, "Done", true, false}, {MailKnown, "I know", false, false}, {MailTake, "I look after it until tonight", false, true}, {MailQuiet, "Quiet for 2 days", true, false},
}

// An Acted is what somebody has done about an episode from a mail.
type Acted struct {
	Episode string
	Do      MailAct
	Who     string
	At      time.Time
}
