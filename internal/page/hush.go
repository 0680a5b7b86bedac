package page

import (
	"crypto/rand"
	"net/http"
	"net/url"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
)

// maxHush bounds how long a bin can be kept quiet: longer is forgetting it.
const maxHush = 30 * 24 * time.Hour

type hushPage struct {
	shell
	Bin, Zone, Place string
	Condition        farm.Condition
	Name             string
	Once, Back       string
	Choices          []hushChoice
}

type hushChoice struct{ For, Says string }

var hushChoices = []hushChoice{
	{"2h", "2 hours"}, {"12h", "12 hours"}, {"1d", "a day"}, {"3d", "3 days"}, {"7d", "a week"},
}

func (p *Page) showHush(w http.ResponseWriter, r *http.Request) error {
	in, err := readQuery(r)
	if err != nil {
		return err
	}
	f := p.cfg.Farm()
	bin, zone, err := place(f, in)
	if err != nil {
		return err
	}
	cond, err := condition(in.get("condition"))
	if err != nil {
		return err
	}
	page := hushPage{
		shell: p.shell(w, r, "Hush"), Bin: bin.Name, Zone: zone, Place: placeName(bin, zone),
		Condition: cond, Name: cond.Row().Is, Once: rand.Text(), Back: "/", Choices: hushChoices,
	}
	return p.show(w, http.StatusOK, "hush", page)
}

// hush keeps quiet about a bin, a zone or one condition for a while.
func (p *Page) hush(w http.ResponseWriter, r *http.Request) error {
	in, err := readForm(w, r)
	if err != nil {
		return err
	}
	f := p.cfg.Farm()
	bin, zone, err := place(f, in)
	if err != nil {
		return err
	}
	cond, err := condition(in.get("condition"))
	if err != nil {
		return err
	}
	d, err := quantity.ParseDuration(in.get("for"))
	switch {
	case err != nil:
		return badInput("How long is not clear: %v.", err)
	case d < time.Minute || d > maxHush:
		return badInput("A hush lasts from a minute to 30 days.")
	}
	until := p.cfg.Now().Add(d)
	said := "Quiet about " + placeName(bin, zone) + " for " + farm.SayLong(d) + "."
	return p.act(w, r, in, farm.Event{Kind: farm.EventHush,
		Hush: farm.Hush{Bin: bin.Name, Zone: zone, Condition: cond, Until: until}}, said)
}

func condition(word string) (farm.Condition, error) {
	c := farm.Condition(word)
	if word != "" && !slices.Contains(farm.Conditions, c) {
		return "", badInput("%q is no condition.", clip(word, 40))
	}
	return c, nil
}

func hushURL(bin, zone string, c farm.Condition) string {
	q := url.Values{"bin": {bin}, "condition": {string(c)}}
	if zone != "" {
		q.Set("zone", zone)
	}
	return "/hush?" + q.Encode()
}

// seen notes that the keeper knows of a raised condition.
func (p *Page) seen(w http.ResponseWriter, r *http.Request) error {
	in, err := readForm(w, r)
	if err != nil {
		return err
	}
	v, ok := p.cfg.Look()
	if !ok {
		return p.notYet()
	}
	id := in.get("id")
	i := slices.IndexFunc(v.Standing, func(s farm.Standing) bool { return s.Episode == id })
	if id == "" || i < 0 {
		return refuse(http.StatusNotFound, "Nothing of that name is raised now; it may be over already.")
	}
	said := "Noted that you know: " + v.Standing[i].Condition.Row().Is + "."
	return p.act(w, r, in, farm.Event{Kind: farm.EventSeen, Seen: farm.Seen{Episode: id}}, said)
}

// notYet says that there is nothing to show for now.
func (p *Page) notYet() error {
	return &refusal{status: http.StatusServiceUnavailable, wait: p.cfg.Refresh,
		sentence: "Nothing has been judged yet: the first readings are still on their way. Look again in a minute."}
}
