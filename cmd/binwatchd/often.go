package main

import (
	"context"
	"time"

	"binwatchd/internal/ahead"
	"binwatchd/internal/farm"
	"binwatchd/internal/reliability"
	"binwatchd/internal/rounds"
	"binwatchd/internal/shared"
)

// How long what is reckoned for the page and the metrics is given to all who ask, unless
// somebody does something meanwhile.
const (
	lookedFor   = time.Second
	comesFor    = 10 * time.Second // days ahead, from a season of the journal
	reliableFor = 15 * time.Minute // over a month
)

// An often is what is asked for by any number of readers, and reckoned for one of them.
type often struct {
	d           *daemon
	glances     *shared.Value[farm.View] // what a scrape shows
	views       *shared.Value[farm.View] // what a person is shown
	comings     *shared.Value[farm.Ahead]
	reliability *shared.Value[[]reliability.Probe]
}

func newOften(d *daemon) *often {
	o := &often{d: d, glances: shared.New(lookedFor, d.clock.now, d.glance), views: shared.New(lookedFor, d.clock.now, d.view)}
	o.comings = shared.New(comesFor, d.clock.now, func(ctx context.Context) (a farm.Ahead, err error) {
		v, err := o.views.Get(ctx)
		if err != nil {
			return a, err
		}
		return d.comes(ctx, v)
	})
	o.reliability = shared.New(reliableFor, d.clock.now, func(ctx context.Context) ([]reliability.Probe, error) {
		return reliableIn(ctx, d.journal, d.farms.now(), d.now())
	})
	return o
}

// anew has all who ask from now on see what was just done.
func (o *often) anew() {
	o.glances.Drop()
	o.views.Drop()
	o.comings.Drop()
}

func (o *often) glance() (farm.View, bool) { return inTime(o.glances.Get) }

func (o *often) look() (farm.View, bool) { return inTime(o.views.Get) }

// rounds is today's care list, by what is looked at: one person's part of it, or all.
func (o *often) rounds(who string) (farm.Rounds, bool) {
	v, ok := o.look()
	if !ok {
		return farm.Rounds{}, false
	}
	f := &o.d.cfg.Load().Farm
	whose, _ := f.PersonCalled(who)
	return rounds.List(v.For(f, whose), f.Dates()), true
}

// comes is what comes in the usual time.
func (o *often) comes() (farm.Ahead, bool) { return inTime(o.comings.Get) }

// calendar is the same for a calendar that reads it from the page: days and bins alone.
func (o *often) calendar() ([]byte, bool) {
	a, ok := o.comes()
	if !ok {
		return nil, false
	}
	return ahead.Calendar(a, o.d.cfg.Load().Farm.Dates(), false, nil), true
}

// act lets jots, a hush or a seen happen, and be seen by whoever looks next.
func (d *daemon) act(ctx context.Context, all ...farm.Event) error {
	defer d.often.anew()
	return d.loop.Act(ctx, all...)
}
