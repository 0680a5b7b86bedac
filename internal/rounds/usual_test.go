package rounds_test

import (
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/rounds"
)

// What comes on its usual day is on the list on that day, with the usual amount and the
// line to write, where no condition asks for it, none forbids it, and water is wanted.
func TestWhatIsUsualIsOnTheList(t *testing.T) {
	day := 24 * time.Hour
	rhythm := func(what farm.JotKind, next time.Duration) []farm.Rhythm {
		r := farm.Rhythm{What: what, EveryDays: 7, Next: noon.Add(next), Text: "every 7 days"}
		switch what {
		case farm.Watered:
			r.Litres = 2
		case farm.Fed:
			r.Kg, r.Of = 1, "grain"
		}
		return []farm.Rhythm{r}
	}
	for _, tt := range []struct {
		name     string
		rhythms  []farm.Rhythm
		standing farm.Condition
		dry      bool
		want     string // what to do; "": nothing as usual
		bring    string
	}{
		{"fed today", rhythm(farm.Fed, 3*time.Hour), "", false, "Feed about 1 kg of grain.", "about 1 kg of feed"},
		{"fed yesterday, as it should have been", rhythm(farm.Fed, -day), "", false, "Feed about 1 kg of grain.", "about 1 kg of feed"},
		{"fed tomorrow", rhythm(farm.Fed, day), "", false, "", ""},
		{"fed, and due by the food", rhythm(farm.Fed, 0), farm.FeedDue, false, "", ""},
		{"fed, and heating", rhythm(farm.Fed, 0), farm.Heating, false, "", ""},
		{"turned", rhythm(farm.Turned, 0), "", false, "Turn it.", ""},
		{"water that is wanted", rhythm(farm.Watered, 0), "", true, "Give about 2 litres of water.", "about 2 litres of water"},
		{"water that is not", rhythm(farm.Watered, 0), "", false, "", ""},
		{"sifted", rhythm(farm.Sifted, 0), "", true, "", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			v := view(farm.Standing{Condition: tt.standing})
			if tt.standing == "" {
				v.Standing = nil
			}
			z := &v.Bins[0].Zones[1]
			if z.Rhythms = tt.rhythms; tt.dry {
				z.Water = &farm.Advice{WaterLitres: 3}
			}
			r := rounds.List(v, farm.Dates{Location: time.UTC})
			got, jot := "", farm.JotKind("")
			for _, c := range r.Care {
				if c.Urgency == farm.Calm {
					got, jot = got+c.Do, c.Jot.What
				}
			}
			if got != tt.want || got != "" && jot != tt.rhythms[0].What {
				t.Errorf("got %q with the jot %q, want %q", got, jot, tt.want)
			}
			if tt.bring != "" && !strings.Contains(strings.Join(r.Bring, ";"), tt.bring) {
				t.Errorf("got %q to bring, want %q", r.Bring, tt.bring)
			}
		})
	}
}
