package notify_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
	"binwatchd/internal/notify"
)

func TestOwes(t *testing.T) {
	tellers := notify.Named([]notify.Teller{
		{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{Mail: "Keeper@example.org"}},                                                          // now and today
		{Kind: notify.ByPush, TellerSettings: notify.TellerSettings{About: []string{"now"}}, URL: "generic://example.org/x"},                              // now alone
		{Kind: notify.ByWebhook, TellerSettings: notify.TellerSettings{About: []string{"soon"}}, URL: "https://example.org/hook"},                         // soon alone
		{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{Mail: "crate@example.org", Bins: []string{"crate"}, About: []string{"now", "today"}}}, // one bin
	})
	keeper, push, hook, crate := "mail:keeper@example.org", "push:1", "webhook:example.org#1", "mail:crate@example.org"
	tests := []struct {
		name string
		c    farm.Change
		want []string
	}{
		{"raised today", farm.Change{Bin: "bed", Change: farm.Raised, Urgency: farm.Today}, []string{keeper}},
		{"raised now", farm.Change{Bin: "bed", Change: farm.Raised, Urgency: farm.Now}, []string{keeper, push}},
		{"raised soon", farm.Change{Bin: "bed", Change: farm.Raised, Urgency: farm.Soon}, []string{hook}},
		{"worsened to now", farm.Change{Bin: "bed", Change: farm.Worsened, Urgency: farm.Now}, []string{keeper, push}},
		{"eased from soon", farm.Change{Bin: "bed", Change: farm.Eased, Urgency: farm.Soon}, []string{keeper, push, hook}},
		{"lightened to soon", farm.Change{Bin: "bed", Change: farm.Lightened, Urgency: farm.Soon}, []string{keeper, push, hook}},
		{"the one bin", farm.Change{Bin: "crate", Change: farm.Raised, Urgency: farm.Today}, []string{keeper, crate}},
		{"the whole farm", farm.Change{Condition: farm.Unforwarded, Change: farm.Raised, Urgency: farm.Now}, []string{keeper, push, crate}},
		{"the journal itself", farm.Change{Condition: farm.Unwritten, Change: farm.Raised, Urgency: farm.Now}, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var keys []string
			for _, o := range notify.OwedFor(tellers, tt.c, start) {
				keys = append(keys, o.Teller)
			}
			if diff := cmp.Diff(tt.want, keys); diff != "" {
				t.Errorf("owed to (-want +got):\n%s", diff)
			}
		})
	}
}

func TestKeysHoldNoSecretAndDiffer(t *testing.T) {
	got := notify.Named([]notify.Teller{
		{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{Mail: "a@example.org"}},
		{Kind: notify.ByMail, TellerSettings: notify.TellerSettings{Mail: "A@example.org"}},
		{Kind: notify.ByWebhook, URL: "https://user:pw@example.org:8443/tok3n?key=s3cret"},
		{Kind: notify.ByWebhook, URL: "https://example.org/other"},
		{Kind: notify.ByPush, URL: "generic://token@example.org"},
		{Kind: notify.ByPush, URL: "generic://other@example.org"},
	})
	var keys []string
	for _, teller := range got {
		keys = append(keys, teller.Key)
	}
	want := []string{"mail:a@example.org", "mail:a@example.org#2", "webhook:example.org#1", "webhook:example.org#2", "push:1", "push:2"}
	if diff := cmp.Diff(want, keys); diff != "" {
		t.Errorf("keys (-want +got):\n%s", diff)
	}
}

func TestNoticeIDIsOfTellerAndChange(t *testing.T) {
	c := change(farm.TooHot, farm.Raised, farm.Today, start)
	id := notify.NoticeID("mail:a@example.org", c)
	if again := notify.NoticeID("mail:a@example.org", c); again != id || len(id) != 24 {
		t.Errorf("id %q, then %q", id, again)
	}
	later := c
	later.At = later.At.Add(time.Millisecond)
	worse := c
	worse.Change = farm.Worsened
	for what, other := range map[string]string{
		"another teller": notify.NoticeID("mail:b@example.org", c),
		"another time":   notify.NoticeID("mail:a@example.org", later),
		"another change": notify.NoticeID("mail:a@example.org", worse),
	} {
		if other == id {
			t.Errorf("%s has the same id", what)
		}
	}
}

// A recipient's places and patterns mean their bins and the probes in their air, and nothing of others'.
func TestWhoIsToldOfAPlace(t *testing.T) {
	type whom struct{ bin, probe string }
	f := sheds(t, 14, 16, 10)
	for _, tt := range []struct {
		name  string
		set   notify.TellerSettings
		about map[whom]bool
	}{
		{"a place", notify.TellerSettings{Places: []string{"linden"}}, map[whom]bool{
			{bin: "linden-03"}: true, {bin: "maple-03"}: false, {probe: "linden-air"}: true, {probe: "maple-air"}: false, {}: true,
		}},
		{"a pattern", notify.TellerSettings{Bins: []string{"maple-0*"}}, map[whom]bool{
			{bin: "maple-03"}: true, {bin: "maple-13"}: false, {bin: "linden-03"}: false, {probe: "maple-air"}: true, {probe: "rowan-air"}: false,
		}},
		{"both", notify.TellerSettings{Places: []string{"rowan"}, Bins: []string{"maple-13"}}, map[whom]bool{
			{bin: "rowan-10"}: true, {bin: "maple-13"}: true, {bin: "maple-03"}: false,
		}},
		{"everything", notify.TellerSettings{}, map[whom]bool{{bin: "rowan-10"}: true, {probe: "maple-air"}: true}},
		{"a place that is gone", notify.TellerSettings{Places: []string{"elm"}}, map[whom]bool{{bin: "rowan-10"}: false}},
	} {
		teller := notify.Teller{Kind: notify.ByPush, TellerSettings: tt.set}
		all := notify.Named([]notify.Teller{teller.Within(&f)})
		for who, want := range tt.about {
			c := farm.Change{Bin: who.bin, Probe: who.probe, Change: farm.Raised, Urgency: farm.Today}
			if got := len(notify.OwedFor(all, c, start)) == 1; got != want {
				t.Errorf("%s: told of %q%q: %v, want %v", tt.name, who.bin, who.probe, got, want)
			}
		}
	}
}
