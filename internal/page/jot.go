package page

import (
	"cmp"
	"context"
	"encoding/base64"
	"net/http"
	"slices"
	"time"
	"unicode/utf8"

	"binwatchd/internal/farm"
)

// A jotPage asks one thing after the other: where, what, how much. Each step
// is a page of large links, so that it goes with a thumb and without scripts.
type jotPage struct {
	*visit
	Bin   string // "": it asks where
	Zone  farm.Zone
	Place string
	What  farm.JotKind // "": it asks what was done

	Units            []string // none: the form asks for no amount
	Tubs             []string
	Earliest, Latest string // bounds of the time field
}

var jotHints = map[farm.JotKind]string{
	farm.Fed: "gave food", farm.Watered: "gave water", farm.Bedded: "gave dry bedding",
	farm.Turned: "loosened, mixed", farm.Sifted: "took castings off", farm.Stocked: "put worms in",
	farm.Lifted: "took worms out", farm.Emptied: "emptied out", farm.Finished: "all food is eaten",
}

// Kinds are those to choose from.
func (j jotPage) Kinds() []farm.JotKind { return farm.JotKinds }

// Hint says what a kind of jot means in the zone. No food lies where is sifted.
func (j jotPage) Hint(k farm.JotKind) string {
	if k == farm.Finished && j.Zone.Aim == farm.Sifting {
		return "no more to sift"
	}
	return jotHints[k]
}

// OfFood tells whether the form asks of which food the jot is.
func (j jotPage) OfFood() bool {
	return j.What == farm.Fed || (j.What == farm.Finished && j.Zone.Aim != farm.Sifting)
}

// OfWorms tells whether the form asks of which species the jot is.
func (j jotPage) OfWorms() bool { return ofWorms(j.What) }

func ofWorms(k farm.JotKind) bool { return k == farm.Stocked || k == farm.Lifted }

func (v *visit) showJot() error {
	v.titled("jot", "Jot")
	page := jotPage{visit: v}
	if v.in["bin"] == "" {
		return v.show(http.StatusOK, "jot", page)
	}
	bin, zone, err := v.placeAsked()
	if err != nil {
		return err
	}
	page.Bin, page.Place = bin.Name, v.Farm.SayPlace(bin.Name, zone)
	page.Zone, _ = bin.ZoneByName(zone)
	if v.in["what"] == "" {
		return v.show(http.StatusOK, "jot", page)
	}
	if page.What, err = v.jotKind(); err != nil {
		return err
	}
	if hasAmount(page.What) {
		page.Units = v.unitsFor(page.What)
	}
	if page.What == farm.Sifted {
		page.Tubs = v.tubs(bin.Name)
	}
	now := v.now.In(v.loc)
	v.Back, page.Earliest, page.Latest = binURL(bin.Name), now.Add(-farBack).Format(fieldTime), now.Format(fieldTime)
	return v.show(http.StatusOK, "jot", page)
}

// hasAmount tells whether a kind of jot may say how much.
func hasAmount(k farm.JotKind) bool { return k != farm.Turned && k != farm.Finished }

// tubs are the bins that can take castings in.
func (v *visit) tubs(but string) []string {
	var out []string
	for _, b := range v.Farm.Bins {
		keeps := slices.ContainsFunc(b.Zones, func(z farm.Zone) bool { return z.Aim == farm.Keeping })
		if keeps && b.Name != but {
			out = append(out, b.Name)
		}
	}
	return out
}

// jot writes a line into the logbook.
func (v *visit) jot() error {
	j, err := v.readJot()
	if err != nil {
		return err
	}
	said := "Written: " + v.Farm.SayPlace(j.Bin, j.Zone) + " " + v.sayJot(j) + "."
	return v.act(farm.Event{Kind: farm.EventJot, Jot: j}, said)
}

// readJot makes a jot of a form, or says what is wrong with it.
func (v *visit) readJot() (j farm.Jot, err error) {
	bin, zone, err := v.placeAsked()
	if err != nil {
		return j, err
	}
	j = farm.Jot{Bin: bin.Name, Zone: zone, Of: v.in["of"], By: "page"}
	if j.What, err = v.jotKind(); err != nil {
		return j, err
	}
	if j.Kg, j.Litres, err = amount(v.in["amount"], cmp.Or(v.in["unit"], v.unitsFor(j.What)[0])); err != nil {
		return j, err
	}
	_, known := v.Farm.SpeciesByID(j.Of)
	switch {
	case j.What == farm.Watered && j.Kg > 0:
		return j, badInput("Water is measured in litres or gallons here.")
	case utf8.RuneCountInString(j.Of) > 40:
		return j, badInput("Say in 40 letters or fewer what it was.")
	case ofWorms(j.What) && j.Of != "" && !known:
		return j, badInput("%q is no species of this farm's table.", j.Of)
	}
	if to := v.in["to"]; to != "" {
		if j.What != farm.Sifted {
			return j, badInput("Only what is sifted goes to another bin.")
		}
		tub, err := v.Farm.FindPlace(to)
		if err != nil || !slices.Contains(v.tubs(j.Bin), tub.Bin) {
			return j, badInput("%q is no bin that keeps castings.", to)
		}
		j.To = tub.Bin
	}
	j.At, err = v.moment(v.in["at"])
	return j, err
}

func (v *visit) jotKind() (farm.JotKind, error) {
	k := farm.JotKind(v.in["what"])
	if !slices.Contains(farm.JotKinds, k) {
		return "", badInput("%q is nothing the diary knows; it takes fed, watered, bedded, turned, sifted, stocked, lifted, emptied or finished.", clip(string(k), 40))
	}
	return k, nil
}

// placeAsked reads bin and zone of a form; an empty zone is the bin as a whole.
func (v *visit) placeAsked() (farm.Bin, string, error) {
	return v.place(farm.Place{Bin: v.in["bin"], Zone: v.in["zone"]}.String())
}

func (v *visit) place(name string) (farm.Bin, string, error) {
	at, err := v.Farm.FindPlace(name)
	if err != nil {
		return farm.Bin{}, "", refuse(http.StatusNotFound, "This farm has %v.", err)
	}
	bin, _ := v.Farm.BinByName(at.Bin)
	return bin, at.Zone, nil
}

// actWithin bounds a write: an SD card may be slow, not this slow.
const actWithin = 20 * time.Second

// act hands one event on and answers with the page the form came from. A form
// that comes a second time is not carried out again.
func (v *visit) act(e farm.Event, said string) error {
	back, token := localPath(v.in["back"]), v.in["once"]
	if !v.once.First(token) {
		v.say("That was written already; nothing was written twice.")
		return v.redirect(back)
	}
	e.Arrived = v.cfg.Now()
	// Not the request's own context alone: a phone that loses its network
	// after sending must not leave a line half written.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(v.r.Context()), actWithin)
	defer cancel()
	if err := v.cfg.Act(ctx, e); err != nil {
		v.once.Forget(token)
		v.cfg.Log.Error("page write", "kind", e.Kind, "error", err)
		return refuse(http.StatusServiceUnavailable, "It could not be written just now, and nothing was noted. Try again in a minute.")
	}
	v.say(said)
	return v.redirect(back)
}

const saidCookie = "binwatch_said"

// say leaves one sentence for the next page, in a cookie that lasts a minute.
func (v *visit) say(sentence string) {
	v.setCookie(saidCookie, base64.RawURLEncoding.EncodeToString([]byte(sentence)), 60)
}

// Said takes the sentence left for this page, once: what was just done.
func (v *visit) Said() string {
	said := v.cookie(saidCookie)
	if !v.Home || said == "" || len(said) > 600 {
		return ""
	}
	v.setCookie(saidCookie, "", -1)
	b, err := base64.RawURLEncoding.DecodeString(said)
	if err != nil {
		return ""
	}
	return string(b)
}
