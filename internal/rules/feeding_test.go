package rules_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
	"binwatchd/internal/rules"
)

// fedBed is a bed of red worms of a known mass; 0: not known.
func fedBed(wormsKg float64) *watched {
	f := nursery(farm.Living, "red")
	f.Bins[0].WormsKg = wormsKg
	return watching(f)
}

// fed is a line of the logbook, days after t0.
func fed(days, kg float64, of string) farm.Jot {
	return farm.Jot{At: t0.Add(time.Duration(days * 24 * float64(time.Hour))), Bin: "bed", What: farm.Fed, Kg: kg, Of: of}
}

// live lets the bed live at 20 °C and 76 % up to a day, writing lines at their times.
func (w *watched) live(to float64, lines ...farm.Jot) {
	for h := 0; float64(h) < to*24; h++ {
		at := t0.Add(time.Duration(h) * time.Hour)
		for ; len(lines) > 0 && lines[0].At.Before(at); lines = lines[1:] {
			w.wrote(lines[0].At, lines[0].At, lines[0])
		}
		w.say("t", at, 20)
		w.say("m", at.Add(time.Second), 76)
	}
	for _, j := range lines {
		w.wrote(t0.Add(time.Duration(to*24)*time.Hour), j.At, j)
	}
}

// due is when feed is foreseen to be due, in days after t0; where it is due already, it
// is the day that it has become.
func (w *watched) due(t *testing.T, at float64) float64 {
	t.Helper()
	z := w.state.Look(t0.Add(time.Duration(at*24) * time.Hour)).Bins[0].Zones[0]
	for _, o := range z.Outlook {
		if o.Condition == farm.FeedDue {
			return o.Forecast.Crosses.Sub(t0).Hours() / 24
		}
	}
	if told := w.of(farm.FeedDue); len(told) > 0 && told[len(told)-1].Change == farm.Raised {
		return told[len(told)-1].At.Sub(t0).Hours() / 24
	}
	t.Fatalf("feed is not foreseen: %+v, %+v", z.Outlook, z.Food)
	return 0
}

// Few worms take long over much food, many are through with a trifle soon, and
// cardboard is no food. What worms eat is in package husbandry, with its sources:
// 0.43 kg a day per kg of them at full activity, 0.87 of that at 20 °C; the pace of the
// table is 7 days for mash, 60 for grain and for cardboard.
func TestFeedIsDueByWhatTheWormsCanEat(t *testing.T) {
	for _, tt := range []struct {
		name     string
		wormsKg  float64
		lines    []farm.Jot
		from, to float64 // days after t0
	}{
		{"6 kg in six days for 0.4 kg", 0.4, []farm.Jot{fed(1, 1, "mash"), fed(2, 1, "mash"), fed(3, 1, "mash"), fed(4, 1, "mash"), fed(5, 1, "mash"), fed(6, 1, "mash")}, 22, 38},
		{"6 kg at once for 0.3 kg", 0.3, []farm.Jot{fed(1, 6, "scraps")}, 30, 48},
		{"0.1 kg for 2 kg", 2, []farm.Jot{fed(1, 0.1, "grain")}, 8, 25},
		{"mash and cardboard", 1, []farm.Jot{fed(1, 1, "mash"), fed(2, 1, "torn cardboard")}, 4, 9},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := fedBed(tt.wormsKg)
			w.live(60, tt.lines...)
			got := only(t, w.of(farm.FeedDue))
			if day := got.At.Sub(t0).Hours() / 24; day < tt.from || day > tt.to {
				t.Errorf("due on day %.1f, want between %v and %v", day, tt.from, tt.to)
			}
			if got.Advice.FeedOf == "torn cardboard" {
				t.Errorf("got %+v, want food advised", got.Advice)
			}
		})
	}
}

// Bedding that is jotted as a feed moves nothing about food, however much there is of
// it and whenever it is written; alone it starts no clock.
func TestBeddingNeverMovesTheFeedClock(t *testing.T) {
	meals := []farm.Jot{fed(1, 1, "scraps"), fed(6, 1.5, "mash")}
	plain := fedBed(1)
	plain.live(8, meals...)
	want := plain.due(t, 8)
	for _, b := range []farm.Jot{fed(0.5, 20, "Cardboard"), fed(3, 0.1, "dry leaves"), fed(7, 5, "straw"), fed(2, 0, "wood chips")} {
		w := fedBed(1)
		w.live(8, slices.SortedFunc(slices.Values(append(slices.Clone(meals), b)), byTime)...)
		late := fedBed(1)
		late.live(8, meals...)
		late.wrote(t0.Add(8*day), b.At, b)
		if a, b := w.due(t, 8), late.due(t, 8); math.Abs(a-want) > 1e-3 || math.Abs(b-want) > 1e-3 {
			t.Errorf("due on day %v, written late %v, want %v as without it", a, b, want)
		}
	}
	papered := fedBed(1)
	for d := range 8 {
		meals = append(meals, fed(1.1+float64(d)*0.8, 0.1, "paper"))
	}
	for range 80 {
		meals = append(meals, fed(7.9, 0.1, "paper"))
	}
	papered.live(8, slices.SortedFunc(slices.Values(meals), byTime)...)
	if got := papered.due(t, 8); math.Abs(got-want) > 1e-3 {
		t.Errorf("due on day %v with much paper, want %v", got, want)
	}
	alone := fedBed(1)
	alone.live(40, fed(1, 1, "cardboard"))
	if got := alone.of(farm.FeedDue); len(got) != 0 {
		t.Errorf("got %+v, want silence where no food was jotted", got)
	}
	if food := alone.state.Look(t0.Add(40 * day)).Bins[0].Zones[0].Food; len(food) != 1 || food[0].LeftPart < 0.2 || food[0].LeftPart > 0.8 {
		t.Errorf("got %+v, want the cardboard shown as it goes", food)
	}
}

// A feed far too big is said to be that, as long as it is.
func TestMoreThanTheWormsManageIsSaid(t *testing.T) {
	says := func(wormsKg, days float64) string {
		w := fedBed(wormsKg)
		w.live(days, fed(1, 6, "scraps"))
		for _, o := range w.state.Look(t0.Add(time.Duration(days*24) * time.Hour)).Bins[0].Zones[0].Outlook {
			if o.Condition == farm.FeedDue {
				return o.Text
			}
		}
		return ""
	}
	const more = "more food than so many worms manage"
	if got := says(0.3, 2); !strings.HasPrefix(got, "next feed due about ") || !strings.Contains(got, more) {
		t.Errorf("got %q, want it to say that there is %s", got, more)
	}
	for _, fine := range []string{says(3, 2), says(0, 2), says(0.3, 33)} {
		if fine == "" || strings.Contains(fine, more) {
			t.Errorf("got %q, want no word of too much", fine)
		}
	}
}

func byTime(a, b farm.Jot) int { return a.At.Compare(b.At) }

// Laws of the logbook: lines in any order and at any time after the fact say the same,
// one feed in two parts is one feed, more of what lasts longest is never due sooner,
// more worms never later.
func TestLawsOfTheFeedClock(t *testing.T) {
	efforttest.Long(t)
	kinds := []string{"mash", "fruit", "scraps", "coffee", "grain", "oats"}
	for seed := range uint64(12) {
		r := rand.New(rand.NewPCG(seed, 5))
		var lines []farm.Jot
		for range 2 + r.IntN(5) {
			lines = append(lines, fed(1+8*r.Float64(), 0.1+2*r.Float64()*r.Float64(), kinds[r.IntN(len(kinds))]))
		}
		slices.SortFunc(lines, byTime)
		wormsKg := 0.3 + 2*r.Float64()
		const end = 10
		of := func(wormsKg float64, lines []farm.Jot) float64 {
			w := fedBed(wormsKg)
			w.live(end, lines...)
			return w.due(t, end)
		}
		want := of(wormsKg, lines)
		late := fedBed(wormsKg)
		late.live(end)
		for _, i := range r.Perm(len(lines)) {
			late.wrote(t0.Add(end*day), lines[i].At, lines[i])
		}
		if got := late.due(t, end); math.Abs(got-want) > 0.1 {
			t.Errorf("seed %d: due on day %.2f, written late and out of order on day %.2f", seed, want, got)
		}
		i := r.IntN(len(lines))
		half := lines[i]
		half.Kg /= 2
		if got := of(wormsKg, slices.Concat(lines[:i], []farm.Jot{half, half}, lines[i+1:])); math.Abs(got-want) > 1e-6 {
			t.Errorf("seed %d: due on day %v, with a feed in two parts %v", seed, want, got)
		}
		more := lines[len(lines)-1]
		more.Kg, more.Of = 0.1+2*r.Float64(), "grain"
		if got := of(wormsKg, slices.SortedFunc(slices.Values(append(slices.Clone(lines), more)), byTime)); got < want-0.02 {
			t.Errorf("seed %d: due on day %.2f, with %.1f kg of %s more on day %.2f", seed, want, more.Kg, more.Of, got)
		}
		if got := of(wormsKg*(1+r.Float64()), lines); got > want+0.02 {
			t.Errorf("seed %d: due on day %.2f, with more worms on day %.2f", seed, want, got)
		}
	}
}

// A handful of grain beside a bucket of scraps is not waited for, however long it lasts;
// while each feed was, it put the notice off by weeks. Where nobody weighed, it is.
func TestAHandfulOfWhatLastsHoldsNothing(t *testing.T) {
	of := func(lines ...farm.Jot) float64 {
		w := fedBed(1)
		w.live(3, lines...)
		return w.due(t, 3)
	}
	scraps, grain := fed(1, 3, "scraps"), fed(1.5, 0.1, "grain")
	alone, both := of(scraps), of(scraps, grain)
	if both < alone-0.02 || both > alone+4 {
		t.Errorf("due on day %.2f, with a handful of grain beside it on day %.2f", alone, both)
	}
	scraps.Kg, grain.Kg = 0, 0
	if got := of(scraps, grain); got < both+14 {
		t.Errorf("nobody weighed, and due on day %.2f", got)
	}
}

// What a keeper has seen finished leaves the worms to the rest from then on, and what
// was thrown out from then, whenever that is written.
func TestWhatIsGoneEatsNoTimeOfTheRest(t *testing.T) {
	lines := []farm.Jot{fed(1, 3, "mash"), fed(2, 3, "scraps")}
	whole := fedBed(0.5)
	whole.live(10, lines...)
	for _, end := range []farm.Jot{{At: t0.Add(4 * day), Bin: "bed", What: farm.Finished, Of: "mash"}, {At: t0.Add(36 * time.Hour), Bin: "bed", What: farm.Emptied}} {
		once, late := fedBed(0.5), fedBed(0.5)
		once.live(10, slices.SortedFunc(slices.Values(append(slices.Clone(lines), end)), byTime)...)
		late.live(10, lines...)
		late.wrote(t0.Add(10*day), end.At, end)
		a, b := once.due(t, 10), late.due(t, 10)
		if math.Abs(a-b) > 0.1 || a > whole.due(t, 10)-1 {
			t.Errorf("%s: due on day %.2f, written late %.2f, and %.2f with all of it there", end.What, a, b, whole.due(t, 10))
		}
	}
}

// Two bucketfuls of one visit are one amount; the kind that was fed last is the usual
// one, in whatever order that is written.
func TestTheUsualFeedIsThatOfTheLastVisit(t *testing.T) {
	for _, order := range [][]int{{0, 1, 2}, {2, 1, 0}, {1, 2, 0}} {
		w := fedBed(0)
		lines := []farm.Jot{fed(1, 3, "grain"), fed(2, 0.4, "mash"), fed(2.01, 0.6, "mash")}
		w.live(3)
		for _, i := range order {
			w.wrote(t0.Add(3*day), lines[i].At, lines[i])
		}
		w.wrote(t0.Add(3*day), t0.Add(3*day), farm.Jot{What: farm.Finished, Of: "grain"})
		for h := range 24 * 10 {
			w.say("t", t0.Add(3*day+time.Duration(h)*time.Hour), 24)
		}
		if got := only(t, w.of(farm.FeedDue)); got.Advice.FeedOf != "mash" || math.Abs(got.Advice.FeedKg-1) > 1e-9 {
			t.Errorf("written %v: got %+v, want 1 kg of mash", order, got.Advice)
		}
	}
}

// A restart between changes nothing about food.
func TestFoodIsTheSameAfterARestart(t *testing.T) {
	lines := []farm.Jot{fed(1, 2, "mash"), fed(2, 2, "grain"), fed(3, 1, "straw")}
	w := fedBed(0.5)
	w.live(9, lines...)
	saved, err := w.state.Save()
	if err != nil {
		t.Fatal(err)
	}
	f := nursery(farm.Living, "red")
	f.Bins[0].WormsKg = 0.5
	again, err := rules.Restore(f, saved, farm.Renames{})
	if err != nil {
		t.Fatal(err)
	}
	late := fed(0.5, 1, "fruit")
	restarted := &watched{state: again}
	for _, w := range []*watched{w, restarted} {
		w.wrote(t0.Add(9*day), late.At, late)
	}
	if a, b := w.due(t, 9), restarted.due(t, 9); a != b {
		t.Errorf("due on day %v, after a restart %v", a, b)
	}
}
