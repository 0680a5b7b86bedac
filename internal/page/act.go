package page

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"slices"

	"binwatchd/internal/farm"
	"binwatchd/internal/jot"
)

// Letters are what the buttons of mails carry, by their hashes, and who has pressed which.
type Letters interface {
	Token(ctx context.Context, hash [32]byte) (k farm.Token, found bool, err error)
	Acted(ctx context.Context, episode string, do farm.MailAct) (by farm.Acted, found bool, err error)
	// Claim notes an act, or gives that of whoever was first.
	Claim(ctx context.Context, a farm.Acted) (by farm.Acted, first bool, err error)
	Release(ctx context.Context, episode string, do farm.MailAct) error
}

// A mailActPage shows what a mail named and is still raised, and asks for the one act that a
// button of the mail stands for. It needs no login: the token in its address is for these conditions
// and this person alone. To look changes nothing, for mail is read by machines too.
type mailActPage struct {
	*visit
	Raised raisedView   // the first of All
	All    []raisedView // that nobody has done it about; all of them where it is done about each
	Token  string
	Do     farm.MailAct
	Words  string
	Said   string // what was done, or why there is nothing to do
	Line   farm.Jot
	careView

	who string
}

// openMailAct reads the token; what is over is said on the page.
func (v *visit) openMailAct() (*mailActPage, error) {
	v.w.Header().Set("Cache-Control", "no-store")
	v.Title = "From a mail"
	p := &mailActPage{visit: v, Token: v.in["t"], Do: farm.MailAct(v.in["do"])}
	i := slices.IndexFunc(farm.MailButtons, func(b farm.MailButton) bool { return b.Do == p.Do })
	if i < 0 {
		return nil, badInput("That is no button of a mail.")
	}
	p.Words = farm.MailButtons[i].Words
	k, found, err := v.cfg.Letters.Token(v.r.Context(), farm.HashToken(p.Token))
	switch {
	case err != nil:
		return nil, err
	case !found || v.now.After(k.Until):
		return nil, refuse(http.StatusNotFound, "This button works no more: it does for a week. The page itself does all it did.")
	}
	p.who = k.Who
	if _, person := v.Farm.PersonCalled(p.who); farm.MailButtons[i].Named && !person {
		return nil, badInput("Who looks after it must be one of the people of the farm.")
	}
	if err := v.look(span{}, ""); err != nil {
		return nil, err
	}
	for _, r := range v.raised {
		if slices.Contains(k.Episodes, r.Episode) {
			p.All = append(p.All, r)
		}
	}
	if len(p.All) == 0 {
		p.Said = "That is over: nothing is to be done about it any more."
		return p, nil
	}
	p.Raised = p.All[0]
	if _, known := v.Farm.BinByName(p.Raised.Where.Bin); !known && farm.MailButtons[i].OfBin {
		return nil, badInput("That concerns no bin, so there is nothing to write or to keep quiet.")
	}
	return p, p.before()
}

// before says who has done it already, and fills in the line of the logbook.
func (p *mailActPage) before() error {
	var left []raisedView
	var last farm.Acted
	for _, r := range p.All {
		by, done, err := p.cfg.Letters.Acted(p.r.Context(), r.Episode, p.Do)
		if done && (p.Do == farm.MailQuiet && r.Hushed == nil || p.Do == farm.MailTake && !r.InHands(p.now)) { // that one is over
			done, err = false, p.cfg.Letters.Release(p.r.Context(), r.Episode, p.Do)
		}
		switch {
		case err != nil:
			return err
		case done:
			last = by
		default:
			left = append(left, r)
		}
	}
	if len(left) == 0 {
		p.Said = p.already(last)
	} else {
		p.Raised, p.All = left[0], left
	}
	if p.Do == farm.MailDone {
		p.All = p.All[:1] // it has one line
		p.fillLine()
	}
	return nil
}

func (p *mailActPage) already(by farm.Acted) string {
	who := p.Farm.SayPerson(by.Who)
	if by.Who == p.who {
		who = "You"
	}
	return who + " did that already: " + p.Farm.Dates().Time(by.At, p.now) + "."
}

// fillLine is the line that the rounds offer for it, or a note that it was seen to.
func (p *mailActPage) fillLine() {
	at := p.Raised.Where
	p.Line = farm.Jot{Bin: at.Bin, Zone: at.Zone, What: farm.Noted, Words: "seen to: " + p.Raised.Is()}
	list, _ := p.cfg.Rounds("")
	for _, c := range slices.Concat(list.Care, list.Quiet) {
		if c.Episode == p.Raised.Episode && c.Jot != nil {
			p.Line = *c.Jot
		}
	}
	if p.Line.What.Row().Amount {
		p.Units = p.unitsFor(p.Line.What)
		p.Amount, p.Unit = p.typed(p.Line)
	}
	p.Place = p.Farm.SayPlace(at.Bin, at.Zone)
}

func (v *visit) showMailAct() error {
	p, err := v.openMailAct()
	if err != nil {
		return err
	}
	return v.show(http.StatusOK, "act", p)
}

// mailAct does it, once for all who got the mail.
func (v *visit) mailAct() error {
	p, err := v.openMailAct()
	if err != nil {
		return err
	}
	if p.Said != "" {
		return v.show(http.StatusOK, "act", p)
	}
	events, said, err := p.events()
	if err != nil {
		return err
	}
	var mine []string // whose act is this one's
	release := func() {
		for _, episode := range mine {
			if back := v.cfg.Letters.Release(context.WithoutCancel(v.r.Context()), episode, p.Do); back != nil {
				v.cfg.Log.Error("act not taken back", "episode", episode, "error", back)
			}
		}
	}
	var do []farm.Event
	for i, r := range p.All {
		by, first, err := v.cfg.Letters.Claim(v.r.Context(), farm.Acted{Episode: r.Episode, Do: p.Do, Who: p.who, At: v.now})
		switch {
		case err != nil:
			release()
			return err
		case first:
			mine, do = append(mine, r.Episode), append(do, events[i])
		default:
			p.Said = p.already(by)
		}
	}
	if len(do) == 0 {
		return v.show(http.StatusOK, "act", p)
	}
	if err := v.write(do...); err != nil {
		release()
		return err
	}
	p.Said = said
	return v.show(http.StatusOK, "act", p)
}

// events are what the act is to the farm, one for each of All.
func (p *mailActPage) events() (all []farm.Event, said string, err error) {
	about := p.Raised.Is()
	if n := len(p.All); n > 1 {
		about = fmt.Sprintf("all %d", n)
	}
	switch p.Do {
	case farm.MailKnown, farm.MailTake:
		seen, said := farm.Seen{By: p.who}, "Noted that you know: "+about+"."
		if p.Do == farm.MailTake {
			if seen.Until, err = jot.Until(p.Farm, "tonight", p.now); err != nil {
				return nil, "", err
			}
			said = "You look after it until " + p.Farm.Dates().Clock(seen.Until, p.now) + ": " + about + "."
		}
		for _, r := range p.All {
			seen.Episode = r.Episode
			all = append(all, farm.Event{Kind: farm.EventSeen, Seen: seen})
		}
		return all, said, nil
	case farm.MailQuiet:
		for _, r := range p.All {
			h := farm.Hush{Bin: r.Where.Bin, Zone: r.Where.Zone, Condition: r.Condition, Quantity: r.Quantity, Until: p.now.Add(farm.QuietByMail), By: p.who}
			all = append(all, farm.Event{Kind: farm.EventHush, Hush: h})
		}
		return all, "Quiet about " + about + " for 2 days. Should it get worse and need you now, you hear of it all the same.", nil
	}
	j := p.Line
	if len(p.Units) > 0 {
		if j.Kg, j.Litres, err = p.amount(p.in["amount"], cmp.Or(p.in["unit"], p.Units[0])); err != nil {
			return nil, "", err
		}
	}
	j.At, j.By = p.now, p.who
	if err := jot.Check(p.Farm, j, p.now); err != nil {
		return nil, "", badInput("%s", sentence(err.Error()))
	}
	return []farm.Event{{Kind: farm.EventJot, Jot: j}}, "Written: " + p.Place + " " + p.sayJot(j) + ". It is over when the probe says so.", nil
}
