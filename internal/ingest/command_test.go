package ingest_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

func TestCommandsByMessage(t *testing.T) {
	cases := []struct {
		name, topic, payload string
		want                 ingest.Decoded
	}{
		{"watered", "binwatch/jot/bed/near", `{"what":"watered","amount":"2 L"}`,
			ingest.Decoded{Commands: []farm.Event{{Kind: farm.EventJot, Arrived: noon, Jot: farm.Jot{At: noon, Bin: "bed", Zone: "near", What: farm.Watered, Litres: 2, By: "mqtt"}}}}},
		{"fed, a bin, at a time", "binwatch/jot/bed", `{"what":"fed","amount":"2 kg","of":"grain","at":"2026-05-01T10:00:00Z"}`,
			ingest.Decoded{Commands: []farm.Event{{Kind: farm.EventJot, Arrived: noon, Jot: farm.Jot{At: noon.Add(-2 * time.Hour), Bin: "bed", What: farm.Fed, Kg: 2, Of: "grain", By: "mqtt"}}}, Timed: true}},
		{"sifted into a tub", "binwatch/jot/bed/far", `{"what":"sifted","amount":"8 L","to":"crate"}`,
			ingest.Decoded{Commands: []farm.Event{{Kind: farm.EventJot, Arrived: noon, Jot: farm.Jot{At: noon, Bin: "bed", Zone: "far", What: farm.Sifted, Litres: 8, To: "crate", By: "mqtt"}}}}},
		{"turned, time in seconds", "binwatch/jot/bed", `{"what":"turned","at":1777636800}`,
			ingest.Decoded{Commands: []farm.Event{{Kind: farm.EventJot, Arrived: noon, Jot: farm.Jot{At: noon, Bin: "bed", What: farm.Turned, By: "mqtt"}}}, Timed: true}},
		{"by the names of notices", "binwatch/jot/BED, Far", `{"what":"sifted","amount":"8 L","to":"Crate"}`,
			ingest.Decoded{Commands: []farm.Event{{Kind: farm.EventJot, Arrived: noon, Jot: farm.Jot{At: noon, Bin: "bed", Zone: "far", What: farm.Sifted, Litres: 8, To: "crate", By: "mqtt"}}}}},
		{"a tub by its zone", "binwatch/jot/Bed/FAR", `{"what":"sifted","amount":"8 L","to":"crate/all"}`,
			ingest.Decoded{Commands: []farm.Event{{Kind: farm.EventJot, Arrived: noon, Jot: farm.Jot{At: noon, Bin: "bed", Zone: "far", What: farm.Sifted, Litres: 8, To: "crate", By: "mqtt"}}}}},
		{"hush by the name of a notice", "binwatch/hush/Bed, near", `{"for":"2h"}`,
			ingest.Decoded{Commands: []farm.Event{{Kind: farm.EventHush, Arrived: noon, Hush: farm.Hush{Bin: "bed", Zone: "near", Until: noon.Add(2 * time.Hour), By: farm.ByMQTT}}}}},
		{"hush a condition", "binwatch/hush/bed/near", `{"for":"2h","condition":"too-dry"}`,
			ingest.Decoded{Commands: []farm.Event{{Kind: farm.EventHush, Arrived: noon, Hush: farm.Hush{Bin: "bed", Zone: "near", Condition: farm.TooDry, Until: noon.Add(2 * time.Hour), By: farm.ByMQTT}}}}},
		{"hush everything", "binwatch/hush/crate", `{"for":"1d"}`,
			ingest.Decoded{Commands: []farm.Event{{Kind: farm.EventHush, Arrived: noon, Hush: farm.Hush{Bin: "crate", Until: noon.Add(24 * time.Hour), By: farm.ByMQTT}}}}},
		{"hush that says when", "binwatch/hush/crate", `{"for":"2h","at":"2026-05-01T11:30:00Z"}`,
			ingest.Decoded{Commands: []farm.Event{{Kind: farm.EventHush, Arrived: noon, Hush: farm.Hush{Bin: "crate", Until: noon.Add(90 * time.Minute), By: farm.ByMQTT}}}, Timed: true}},
		{"seen", "binwatch/seen/bed-near-too-dry-1", ``,
			ingest.Decoded{Commands: []farm.Event{{Kind: farm.EventSeen, Arrived: noon, Seen: farm.Seen{Episode: "bed-near-too-dry-1", By: farm.ByMQTT}}}}},
	}
	d := ingest.NewDecoder(shed(), "binwatch")
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			got := d.Decode(tt.topic, []byte(tt.payload), noon)
			if a := got.Answer; strings.HasPrefix(tt.topic, "binwatch/jot/") && (a == nil || a.Refused != "" || len(a.Understood) != 1) {
				t.Errorf("got the answer %+v, want what was understood", a)
			}
			got.Answer = nil
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestBadCommandsSayWhy(t *testing.T) {
	cases := []struct{ name, topic, payload, says string }{
		{"unknown bin", "binwatch/jot/bde", `{"what":"fed"}`, `no bin "bde"; there are bed, crate`},
		{"unknown zone", "binwatch/jot/bed/middle", `{"what":"fed"}`, `no zone "middle" in bed; there are near, far`},
		{"unknown deed", "binwatch/jot/bed", `{"what":"sung"}`, `"sung" is not one of fed, watered`},
		{"misspelt member", "binwatch/jot/bed", `{"what":"fed","ammount":"2 kg"}`, `unknown field "ammount"`},
		{"amount without a unit", "binwatch/jot/bed", `{"what":"fed","amount":"2"}`, `2`},
		{"not JSON", "binwatch/hush/bed", `fed`, `cannot read "fed"`},
		{"two objects", "binwatch/jot/bed", `{"what":"fed"}{}`, `something follows`},
		{"a time to come", "binwatch/jot/bed", `{"what":"fed","at":"2026-05-02T10:00:00Z"}`, `lies in the future`},
		{"a time long ago", "binwatch/jot/bed", `{"what":"fed","at":"2024-05-02T10:00:00Z"}`, `more than a year ago`},
		{"no time", "binwatch/jot/bed", `{"what":"fed","at":"whenever"}`, `not a time`},
		{"fed to another bin", "binwatch/jot/bed", `{"what":"fed","to":"crate"}`, `only what is sifted`},
		{"sifted to nowhere", "binwatch/jot/bed", `{"what":"sifted","to":"shelf"}`, `no bin "shelf"`},
		{"stocked with dragons", "binwatch/jot/bed", `{"what":"stocked","of":"dragons"}`, `no species "dragons"`},
		{"no length", "binwatch/hush/bed", `{}`, `for: `},
		{"over by now", "binwatch/hush/bed", `{"for":"2h","at":"2026-05-01T09:00:00Z"}`, `it was over by 2026-05-01T11:00:00Z`},
		{"to come", "binwatch/hush/bed", `{"for":"2h","at":"2026-05-01T19:00:00Z"}`, `lies in the future`},
		{"no time", "binwatch/hush/bed", `{"for":"2h","at":"noon"}`, `not a time`},
		{"too long", "binwatch/hush/bed", `{"for":"900d"}`, `longer than a year`},
		{"unknown condition", "binwatch/hush/bed", `{"for":"2h","condition":"too-loud"}`, `"too-loud" is not one of too-hot`},
		{"nothing seen", "binwatch/seen/", ``, `not the id of a condition`},
		{"large", "binwatch/jot/bed", strings.Repeat(" ", 1<<20), `the most is`},
	}
	d := ingest.NewDecoder(shed(), "binwatch")
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			got := d.Decode(tt.topic, []byte(tt.payload), noon)
			if len(got.Rejected) != 1 || len(got.Commands) > 0 {
				t.Fatalf("got %+v, want one rejection", got)
			}
			r := got.Rejected[0]
			if r.Reason != ingest.BadCommand || !strings.Contains(r.Detail, tt.says) {
				t.Errorf("got %s: %s; want it to say %q", r.Reason, r.Detail, tt.says)
			}
		})
	}
}

func TestExplain(t *testing.T) {
	cases := []struct{ name, topic, payload, want string }{
		{"readings", "glass/bed", `{"temp_f":61.7,"soil":2135,"at":"2026-05-01T13:55:00+02:00"}`, `
  bed-t: 61.7 F is 16.5 °C, taken at 2026-05-01T11:55:00Z by its own clock
  bed-m: 2135 raw is 48 %
`},
		{"fault code", "glass/air/temperature", "85", "\n  air: 85 C is 85 °C, not believed: fault code\n"},
		{"half of it", "glass/bed", `{"soil":"wet"}`, `
  bed-t: rejected (missing): there is nothing at /temp_f
  bed-m: rejected (not_a_number): not a number: "wet"
`},
		{"nobody's", "glass/nobody", "1", "\n  rejected (unclaimed): no probe has the topic glass/nobody\n"},
		{"jot", "binwatch/jot/bed/far", `{"what":"sifted","amount":"8 L","to":"crate"}`, "\n  a jot: bed/far sifted 8 L to crate\n"},
		{"hush", "binwatch/hush/bed", `{"for":"2h"}`, "\n  a hush: quiet about everything at bed for 2 hours\n"},
		{"bad jot", "binwatch/jot/bed", `{"what":"sung"}`, "\n  rejected (bad_command): jot: what: \"sung\" is not one of fed, watered, bedded, turned, sifted, stocked, lifted, emptied, finished, sold, used, spread, holds, noted, or one of the things seen\n"},
	}
	d := ingest.NewDecoder(shed(), "binwatch")
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			got := d.Explain(tt.topic, []byte(tt.payload))
			_, rest, _ := strings.Cut(got, "\n")
			if diff := cmp.Diff(tt.want, "\n"+rest); diff != "" {
				t.Error(diff)
			}
		})
	}
}
