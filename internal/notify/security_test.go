package notify_test

import (
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
)

// The keeper's choice of security is kept to, on loopback too.
func TestMailSecurity(t *testing.T) {
	for _, tt := range []struct {
		security notify.Security
		accepted bool
		tls      bool
	}{
		{notify.StartTLS, true, true},
		{notify.Offered, true, true},
		{notify.Plain, true, false},
		{notify.TLS, false, false}, // this office speaks plain text first
		{"", true, true},
	} {
		t.Run("security "+string(tt.security), func(t *testing.T) {
			office := openPostOffice(t)
			cfg := notify.Config{
				Mail: notify.Mail{
					MailSettings: notify.MailSettings{Server: office.addr, From: "bins@example.org", Security: tt.security},
					Roots:        office.roots, Patience: time.Second,
				},
				Tellers: notify.Named([]notify.Teller{{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{Mail: "keeper@example.org"}}}), Now: time.Now,
			}
			s, err := notify.NewSender(cfg, notify.Sources{})
			if err != nil {
				t.Fatal(err)
			}
			verdict, said := notify.CarryOnce(t.Context(), s, farm.Change{At: time.Now(), Condition: farm.TooHot, Change: farm.Raised, Urgency: farm.Now, Text: "Bed is too hot at 33 °C."})
			if (verdict == 0) != tt.accepted {
				t.Fatalf("got verdict %d (%s), want accepted %v", verdict, said, tt.accepted)
			}
			if got := office.received(); tt.accepted && (len(got) != 1 || got[0].tls != tt.tls) {
				t.Errorf("got %d mails, TLS %v, want one with TLS %v", len(got), len(got) > 0 && got[0].tls, tt.tls)
			}
		})
	}
}

// A teller may ask for a condition whatever its urgency.
func TestOwesByCondition(t *testing.T) {
	tellers := notify.Named([]notify.Teller{{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{Mail: "a@example.org", About: []string{"feed-due"}}}})
	for _, tt := range []struct {
		c    farm.Condition
		u    farm.Urgency
		owed int
	}{{farm.FeedDue, farm.Soon, 1}, {farm.TooDry, farm.Soon, 0}, {farm.TooHot, farm.Now, 0}} {
		ch := farm.Change{Condition: tt.c, Change: farm.Raised, Urgency: tt.u, Bin: "bed"}
		if got := notify.OwedFor(tellers, ch, start); len(got) != tt.owed {
			t.Errorf("%s at %s: got owed to %v, want %d", tt.c, tt.u, got, tt.owed)
		}
	}
}
