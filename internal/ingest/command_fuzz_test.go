package ingest_test

import (
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/jot"
)

// FuzzCommands sends whatever comes as a jot, a hush or a seen. It is refused as a
// whole, or it is one thing within every bound.
func FuzzCommands(f *testing.F) {
	for _, s := range []struct{ topic, payload string }{
		{"jot/bed/near", `{"what":"fed","amount":"2 kg","of":"grain"}`},
		{"jot/bed", `{"what":"watered","amount":"1,5 L","at":"2026-05-01T08:30:00Z"}`},
		{"jot/bed/far", `{"what":"sifted","amount":"8 L","to":"crate/all","at":1777624200}`},
		{"jot/bed", `{"what":"stocked","of":"red"}`}, {"jot/bed", `{"what":"turned","at":null}`}, {"jot/bed/near/x", `{}`}, {"jot", ``},
		{"hush/bed", `{"for":"2h"}`}, {"hush/crate/all", `{"for":"7d","condition":"too-dry"}`}, {"hush/bed", `{"for":"99999999999d"}`}, {"hush/bed", `{"for":"-1h"} x`},
		{"seen/too-dry-bed-near-20260501T080000", ``}, {"seen/", `x`}, {"seen/\xff", ``}, {"else", `1`},
	} {
		f.Add(s.topic, []byte(s.payload))
	}
	f.Fuzz(func(t *testing.T, topic string, payload []byte) {
		d := ingest.NewDecoder(shed(), "binwatch")
		got := d.Decode("binwatch/"+topic, payload, noon)
		things := len(got.Rejected)
		for _, e := range got.Commands {
			things++
			switch e.Kind {
			case farm.EventJot:
				if err := jot.Check(shed(), e.Jot, noon); err != nil || len(e.Jot.To) > 2*64 {
					t.Errorf("%+v is taken, and out of bounds: %v", e.Jot, err)
				}
			case farm.EventHush:
				if err := ingest.CheckHush(shed(), e.Hush, noon); err != nil || e.Hush.Until.Sub(noon) > 367*24*time.Hour {
					t.Errorf("%+v is taken, and out of bounds: %v", e.Hush, err)
				}
			case farm.EventSeen:
				if id := e.Seen.Episode; id == "" || len(id) > 64 {
					t.Errorf("%q is taken for an id", id)
				}
			default:
				t.Errorf("a command of kind %v", e.Kind)
			}
		}
		if things != 1 || len(got.Readings) > 0 {
			t.Errorf("got %+v, want one thing", got)
		}
		d.Explain("binwatch/"+topic, payload)
	})
}
