package page

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/base64"
	"net/http"
	"net/url"
	"slices"
	"time"
	"unicode/utf8"

	"binwatchd/internal/farm"
)

// A jotPage asks one thing after the other: where, what, how much. Each step
// is a page of large links, so that it goes with a thumb and without scripts.
type jotPage struct {
	shell
	Bin, Zone, Place string
	What             farm.JotKind
	Where, Kinds     []choice
	Form             *jotForm
}

// A choice is one of the links of a step.
type choice struct{ Name, Hint, URL string }

// A jotForm is the last step.
type jotForm struct {
	Once, Back     string
	Amount         bool
	Units          []string
	Of             string   // the question; "" asks nothing
	Known          []string // answers to choose from
	Only           bool     // nothing but those
	To             []string
	Earliest, Late string // bounds of the time field
}

var jotHints = map[farm.JotKind]string{
	farm.Fed: "gave food", farm.Watered: "gave water", farm.Bedded: "gave dry bedding",
	farm.Turned: "loosened, mixed", farm.Sifted: "took castings off", farm.Stocked: "put worms in",
	farm.Lifted: "took worms out", farm.Emptied: "emptied out", farm.Finished: "all food is eaten",
}

func (p *Page) showJot(w http.ResponseWriter, r *http.Request, in fields) error {
	page := jotPage{shell: p.shell(w, r, "jot", "Jot")}
	f := p.cfg.Farm()
	if in.get("bin") == "" {
		page.Where = jotPlaces(f)
		return p.show(w, http.StatusOK, "jot", page)
	}
	bin, zone, err := place(f, in)
	if err != nil {
		return err
	}
	page.Bin, page.Zone, page.Place = bin.Name, zone, placeName(bin, zone)
	if in.get("what") == "" {
		page.Kinds = jotSteps(bin, zone)
		return p.show(w, http.StatusOK, "jot", page)
	}
	if page.What, err = jotKind(in.get("what")); err != nil {
		return err
	}
	page.Form = p.jotForm(f, bin, zone, page.What)
	return p.show(w, http.StatusOK, "jot", page)
}

func jotPlaces(f *farm.Farm) []choice {
	var out []choice
	for _, b := range f.Bins {
		for _, z := range b.Zones {
			out = append(out, choice{placeName(b, z.Name), aimWords[z.Aim], jotURL(b.Name, z.Name, "")})
		}
	}
	return out
}

func jotSteps(bin farm.Bin, zone string) []choice {
	var out []choice
	z, _ := bin.ZoneByName(zone)
	for _, k := range farm.JotKinds {
		hint := jotHints[k]
		if k == farm.Finished && z.Aim == farm.Sifting {
			hint = "no more to sift"
		}
		out = append(out, choice{string(k), hint, jotURL(bin.Name, zone, k)})
	}
	return out
}

// hasAmount tells whether a kind of jot may say how much.
func hasAmount(k farm.JotKind) bool { return k != farm.Turned && k != farm.Finished }

func jotURL(bin, zone string, what farm.JotKind) string {
	q := url.Values{"bin": {bin}}
	if zone != "" {
		q.Set("zone", zone)
	}
	if what != "" {
		q.Set("what", string(what))
	}
	return "/jot?" + q.Encode()
}

func (p *Page) jotForm(f *farm.Farm, bin farm.Bin, zone string, what farm.JotKind) *jotForm {
	now := p.cfg.Now().In(location(f))
	form := &jotForm{
		Once: rand.Text(), Back: binURL(bin.Name),
		Amount: hasAmount(what), Units: unitsOffered(what, f.Units),
		Earliest: now.Add(-farBack).Format(fieldTime), Late: now.Format(fieldTime),
	}
	z, _ := bin.ZoneByName(zone)
	switch {
	case what == farm.Finished && z.Aim == farm.Sifting: // no food lies there
	case what == farm.Fed || what == farm.Finished:
		form.Of = "Food"
		for _, feed := range f.Feeds {
			form.Known = append(form.Known, feed.Kind)
		}
	case what == farm.Stocked || what == farm.Lifted:
		form.Of, form.Only = "Species", true
		for _, sp := range f.Species {
			form.Known = append(form.Known, sp.ID)
		}
	case what == farm.Sifted:
		form.To = tubs(f, bin.Name)
	}
	return form
}

// fieldTime is how a browser's own time field writes a moment.
const fieldTime = "2006-01-02T15:04"

// tubs are the bins that can take castings in.
func tubs(f *farm.Farm, but string) []string {
	var out []string
	for _, b := range f.Bins {
		keeps := slices.ContainsFunc(b.Zones, func(z farm.Zone) bool { return z.Aim == farm.Keeping })
		if keeps && b.Name != but {
			out = append(out, b.Name)
		}
	}
	return out
}

// jot writes a line into the logbook.
func (p *Page) jot(w http.ResponseWriter, r *http.Request, in fields) error {
	f := p.cfg.Farm()
	j, err := p.readJot(f, in)
	if err != nil {
		return err
	}
	bin, _ := f.BinByName(j.Bin)
	said := "Written: " + placeName(bin, j.Zone) + " " + sayJot(j, f.Units) + "."
	return p.act(w, r, in, farm.Event{Kind: farm.EventJot, Jot: j}, said)
}

// readJot makes a jot of a form, or says what is wrong with it.
func (p *Page) readJot(f *farm.Farm, in fields) (farm.Jot, error) {
	bin, zone, err := place(f, in)
	if err != nil {
		return farm.Jot{}, err
	}
	j := farm.Jot{Bin: bin.Name, Zone: zone, By: "page"}
	if j.What, err = jotKind(in.get("what")); err != nil {
		return j, err
	}
	unit := cmp.Or(in.get("unit"), usualUnit(j.What, f.Units))
	if j.Kg, j.Litres, err = amount(in.get("amount"), unit); err != nil {
		return j, err
	}
	if j.What == farm.Watered && j.Kg > 0 {
		return j, badInput("Water is measured in litres or gallons here.")
	}
	if j.Of, j.To, err = ofAndTo(f, j, in); err != nil {
		return j, err
	}
	j.At, err = moment(in.get("at"), p.cfg.Now(), location(f))
	return j, err
}

func jotKind(word string) (farm.JotKind, error) {
	k := farm.JotKind(word)
	if !slices.Contains(farm.JotKinds, k) {
		return "", badInput("%q is nothing the logbook knows; it takes fed, watered, bedded, turned, sifted, stocked, lifted, emptied or finished.", clip(word, 40))
	}
	return k, nil
}

// ofAndTo reads what a jot was of and where it went.
func ofAndTo(f *farm.Farm, j farm.Jot, in fields) (of, to string, err error) {
	of, to = in.get("of"), in.get("to")
	if utf8.RuneCountInString(of) > 40 {
		return "", "", badInput("Say in 40 letters or fewer what it was.")
	}
	if worms := j.What == farm.Stocked || j.What == farm.Lifted; worms && of != "" {
		if _, ok := f.SpeciesByID(of); !ok {
			return "", "", badInput("%q is no species of this farm's table.", of)
		}
	}
	if to == "" {
		return of, "", nil
	}
	if j.What != farm.Sifted {
		return "", "", badInput("Only what is sifted goes to another bin.")
	}
	tub, err := f.FindPlace(to)
	if err != nil || !slices.Contains(tubs(f, j.Bin), tub.Bin) {
		return "", "", badInput("%q is no bin that keeps castings.", to)
	}
	return of, tub.Bin, nil
}

// place reads bin and zone of a form; an empty zone is the bin as a whole.
func place(f *farm.Farm, in fields) (farm.Bin, string, error) {
	name := in.get("bin")
	if zone := in.get("zone"); zone != "" {
		name += "/" + zone
	}
	at, err := f.FindPlace(name)
	if err != nil {
		return farm.Bin{}, "", refuse(http.StatusNotFound, "This farm has %v.", err)
	}
	bin, _ := f.BinByName(at.Bin)
	return bin, at.Zone, nil
}

// actWithin bounds a write: an SD card may be slow, not this slow.
const actWithin = 20 * time.Second

// act hands one event on and answers with the page the form came from. A form
// that comes a second time is not carried out again.
func (p *Page) act(w http.ResponseWriter, r *http.Request, in fields, e farm.Event, said string) error {
	back := localPath(in.get("back"), "/")
	token := in.get("once")
	if !p.once.First(token) {
		p.say(w, "That was written already; nothing was written twice.")
		http.Redirect(w, r, back, http.StatusSeeOther)
		return nil
	}
	e.Arrived = p.cfg.Now()
	// Not the request's own context alone: a phone that loses its network
	// after sending must not leave a line half written.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(r.Context()), actWithin)
	defer cancel()
	if err := p.cfg.Act(ctx, e); err != nil {
		p.once.Forget(token)
		p.cfg.Log.Error("page write", "kind", e.Kind, "error", err)
		return refuse(http.StatusServiceUnavailable, "It could not be written just now, and nothing was noted. Try again in a minute.")
	}
	p.say(w, said)
	http.Redirect(w, r, back, http.StatusSeeOther)
	return nil
}

const saidCookie = "binwatch_said"

// say leaves one sentence for the next page, in a cookie that lasts a minute.
func (p *Page) say(w http.ResponseWriter, sentence string) {
	p.setCookie(w, saidCookie, base64.RawURLEncoding.EncodeToString([]byte(sentence)), 60)
}

// said takes the sentence left for this page, once.
func (p *Page) said(w http.ResponseWriter, r *http.Request) string {
	v := cookieOf(r, saidCookie)
	if v == "" || len(v) > 600 {
		return ""
	}
	p.setCookie(w, saidCookie, "", -1)
	b, err := base64.RawURLEncoding.DecodeString(v)
	if err != nil {
		return ""
	}
	return string(b)
}
