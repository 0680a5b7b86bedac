package notify

import (
	"context"
	"fmt"
	"math"
	"time"

	"binwatchd/internal/farm"
)

// A Report is what came of one specimen to one teller.
type Report struct {
	Teller   string
	Specimen string // raised, eased, several at once, rounds
	OK       bool
	Said     string // what the server said, without secrets
}

// TellTest sends a specimen of each kind of notice to each teller, and of the
// rounds to whoever gets them, and reports what the servers said. Nothing
// touches the outbox. Each specimen says that it is a test.
func (s *Sender) TellTest(ctx context.Context) []Report {
	var out []Report
	now := s.cfg.Now()
	words := newWriter(s.cfg, specimenSources(now), now)
	for _, w := range s.workers {
		for _, sp := range specimens(w.teller, now) {
			r := w.transport.send(ctx, sp.bundle, words)
			out = append(out, Report{w.teller.Key, sp.name, r.outcome == accepted, r.said})
		}
	}
	for _, w := range s.rounds {
		list := farm.Rounds{At: now, Farm: s.cfg.Farm.Name, Opening: "This is a test. The farm is not known yet."}
		if s.src.Rounds != nil {
			if known, ok := s.src.Rounds(); ok {
				list = known
			}
		}
		c := newWriter(s.cfg, s.src, now).rounds(ctx, list)
		c.Subject = "Test: " + c.Subject
		r := w.mailer.post(ctx, c, envelope{id: "test-" + hashed(w.mailer.to, now.String()), date: now})
		out = append(out, Report{"mail:" + w.mailer.to, "rounds", r.outcome == accepted, r.said})
	}
	return out
}

type specimen struct {
	name   string
	bundle bundle
}

// specimens are invented: a bin of that name should not exist, so that no
// program acts on it.
func specimens(t Teller, now time.Time) []specimen {
	one := func(say saying, c farm.Change) item {
		return item{say: say, last: farm.Owed{Notice: "test-" + NoticeID(t.Key, c), Teller: t.Key, Change: c, Created: c.At}}
	}
	heating := func(at time.Time) item {
		c := specimenChange(farm.Heating, at, "no bin is heating. A heating bin would read like this: it warms by itself, after a feed.")
		c.Forecast = &farm.Forecast{Crosses: at.Add(6 * time.Hour), Earliest: at.Add(4 * time.Hour), Latest: at.Add(9 * time.Hour)}
		return one(stands, c)
	}
	end, peak := specimenChange(farm.Heating, now, "nothing was heating and nothing has eased."), 31.5
	end.Change, end.Advice, end.Peak, end.Since = farm.Eased, nil, &peak, now.Add(-6*time.Hour)
	raised, eased := heating(now), one(over, end)
	eased.told = []farm.Owed{raised.last}
	out := []specimen{{"raised", newBundle([]item{raised})}, {"eased", newBundle([]item{eased})}}
	if t.Kind != ByWebhook {
		dry := specimenChange(farm.TooDry, now, "no bin is too dry.")
		dry.Advice = &farm.Advice{Do: dry.Advice.Do, VisitLitres: 2, WaterLitres: 6, LitresLow: 4, LitresHigh: 9, DryMassKg: 12, DryMassFrom: "guess"}
		out = append(out, specimen{"several at once", newBundle([]item{heating(now.Add(time.Millisecond)), one(stands, dry)})})
	}
	return out
}

const (
	specimenBin  = "test specimen"
	specimenZone = "near"
)

// specimenSources are an invented past and present, so that a test mail has
// its picture.
func specimenSources(now time.Time) Sources {
	level := &farm.LevelView{
		Value: 28, At: now, Fresh: true,
		Bands: farm.Bands{Thrive: farm.Band{Low: 15, High: 25}, Survive: farm.Band{Low: 4, High: 32}},
	}
	zone := farm.ZoneView{Bin: specimenBin, Zone: specimenZone, Aim: farm.Living, Levels: farm.Levels{farm.Temperature: level}}
	v := farm.View{At: now, Bins: []farm.BinView{{Name: specimenBin, Zones: []farm.ZoneView{zone}}}}
	return Sources{History: specimenPast{now}, Look: func() (farm.View, bool) { return v, true }}
}

// specimenPast is a bin that was fed a day ago and has been warming since.
type specimenPast struct{ now time.Time }

func (p specimenPast) Samples(_ context.Context, _, _ string, q farm.Quantity, from, to time.Time, step time.Duration) ([]farm.Sample, error) {
	if q != farm.Temperature {
		return nil, nil
	}
	var out []farm.Sample
	for t := from; t.Before(to); t = t.Add(step) {
		v := 20 + 1.2*math.Sin(float64(t.Unix()%86400)/86400*2*math.Pi)
		v += 0.35 * max(0, 24-p.now.Sub(t).Hours())
		out = append(out, farm.Sample{At: t, Min: v - 0.2, Mean: v, Max: v + 0.2, N: 3})
	}
	return out, nil
}

func (p specimenPast) Jots(context.Context, string, time.Time, time.Time) ([]farm.Jot, error) {
	return []farm.Jot{{At: p.now.Add(-24 * time.Hour), Bin: specimenBin, What: farm.Fed, Kg: 1, Of: "test"}}, nil
}

func specimenChange(c farm.Condition, now time.Time, text string) farm.Change {
	return farm.Change{
		At: now, Bin: specimenBin, Zone: specimenZone, Condition: c, Change: farm.Raised, Urgency: farm.Today, Since: now,
		Text: "This is a test; " + text, Advice: &farm.Advice{Do: "Nothing to do: this is a test."},
		Episode: fmt.Sprintf("test-%s-%d", c, now.UnixMilli()),
	}
}
