package notify_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"binwatchd/internal/notify"
)

// disklike is an outbox that outlives who uses it.
type disklike interface {
	notify.Outbox
	keep(c farm.Change, owed []farm.Owed)
	killed() // what is left is what was on disk
	Close() error
}

func (b *box) keep(_ farm.Change, owed []farm.Owed) { b.add(owed...) }

func (b *box) killed() {}

func (b *box) Close() error { return nil }

// onDisk is a real journal. After a kill it is another that begins with the files as they
// are, not closed.
type onDisk struct {
	*journal.Journal
	t    *testing.T
	dir  string
	life int
}

func (d *onDisk) path() string { return filepath.Join(d.dir, fmt.Sprint("journal-", d.life, ".db")) }

func (d *onDisk) open() {
	j, err := journal.Open(context.Background(), journal.Config{Path: d.path(), Now: time.Now})
	if err != nil {
		d.t.Fatal(err)
	}
	d.Journal = j
}

func (d *onDisk) keep(c farm.Change, owed []farm.Owed) {
	b := &journal.Batch{Entries: []journal.Entry{{Event: farm.Event{Kind: farm.EventTick, Arrived: c.At}}}, Changes: []journal.Change{{Change: c}}}
	for _, o := range owed {
		b.Owed = append(b.Owed, journal.Owe{Notice: o.Notice, Teller: o.Teller})
	}
	if err := d.Append(context.Background(), b); err != nil {
		d.t.Error(err)
	}
}

func (d *onDisk) killed() {
	old, was := d.path(), d.Journal
	d.life++
	for _, part := range []string{"", "-wal"} {
		b, err := os.ReadFile(old + part)
		if err == nil {
			err = os.WriteFile(d.path()+part, b, 0o600)
		}
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			d.t.Error(err)
		}
	}
	was.Close()
	d.open()
}

// A life is a program that is killed at one of its steps: before or after it writes to its
// disk, before its server has taken a letter, or before it hears so. Nothing that it does from
// then on has an effect.
type life struct {
	disklike
	dies  int // at which step; 0: never
	steps int
	kill  context.CancelFunc
}

var errKilled = errors.New("killed")

// step tells whether the program still lives after one more.
func (l *life) step() bool {
	if l.dead() {
		return false
	}
	if l.steps++; l.dead() {
		l.kill()
	}
	return !l.dead()
}

func (l *life) dead() bool { return l.dies > 0 && l.steps >= l.dies }

// write is a write with a step on either side.
func (l *life) write(do func() error) error {
	if !l.step() {
		return errKilled
	}
	if err := do(); err != nil {
		return err
	}
	if !l.step() {
		return errKilled
	}
	return nil
}

func (l *life) HandOver(ctx context.Context, ids []int64, bundle string) error {
	return l.write(func() error { return l.disklike.HandOver(ctx, ids, bundle) })
}

func (l *life) Settle(ctx context.Context, at time.Time, ends ...farm.Fated) error {
	return l.write(func() error { return l.disklike.Settle(ctx, at, ends...) })
}

func (l *life) Postpone(ctx context.Context, ids []int64, next time.Time, trouble string) error {
	return l.write(func() error { return l.disklike.Postpone(ctx, ids, next, trouble) })
}

// open runs one program, and another at once when it is killed, until it is stopped.
func (w *coldWorld) open() (stop func()) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		for ctx.Err() == nil {
			w.oneLife(ctx)
		}
	}()
	return func() { cancel(); <-done }
}

func (w *coldWorld) oneLife(ctx context.Context) {
	l := &life{disklike: w.disk, dies: w.death}
	w.death = 0
	ctx, l.kill = context.WithCancel(ctx)
	defer l.kill()
	s, err := notify.NewSender(w.cfg, notify.Sources{Outbox: l, Look: w.look})
	if err != nil {
		w.t.Error(err)
		return
	}
	notify.Carry(s, func(c notify.Carried) int {
		if !l.step() {
			return 2
		}
		w.letters = append(w.letters, c)
		if !l.step() {
			return 3
		}
		return 0
	})
	s.Run(ctx)
	if l.dead() {
		w.mu.Lock()
		defer w.mu.Unlock()
		w.deaths++
		w.disk.killed()
	}
}

// tellerOf is one of a kind.
func tellerOf(kind notify.Kind) notify.Teller {
	t := notify.Teller{Kind: kind, TellerSettings: notify.TellerSettings{PerHour: 1000}}
	switch kind {
	case notify.ByMail:
		t.Mail = "keeper@example.org"
	case notify.ByPush:
		t.URL = "generic://127.0.0.1:9/"
	case notify.ByWebhook:
		t.URL = "http://127.0.0.1:9/hook"
	}
	return t
}

// once leaves the first of letters that came again, as they may where the program was killed
// before it heard that they had come: with the same id, and of the same things. A push has no id by
// which a server could know it.
func (w *coldWorld) once(bad badly) {
	var first []notify.Carried
	again := 0
	for _, l := range w.letters {
		same := func(o notify.Carried) bool { return o.ID == l.ID }
		i := slices.IndexFunc(first, same)
		if i < 0 {
			first = append(first, l)
			continue
		}
		if again++; !slices.EqualFunc(first[i].Items, l.Items, func(a, b notify.CarriedItem) bool {
			return a.Notice == b.Notice && a.Say == b.Say && slices.Equal(a.Before, b.Before)
		}) {
			bad("%s came again with other things in it", l.ID)
		}
	}
	if again > w.deaths {
		bad("%d letters came again, after %d deaths", again, w.deaths)
	}
	w.letters = first
}

// A shed goes cold, bin by bin, and the program is killed at each step that it takes to tell of
// it, once amid the two minutes and once amid the quarter of an hour in which the bins that
// join are gathered. A soak kills it on a real journal. Nothing is lost, and only a letter that was under way comes again.
func TestKilledAmidACause(t *testing.T) {
	s, m := time.Second, time.Minute
	shed := []spell{
		{Bin: 0, Urgency: farm.Now}, {Wait: 30 * s, Bin: 1, Urgency: farm.Now}, {Wait: 40 * s, Bin: 2, Urgency: farm.Today},
		{Wait: 4 * m, Bin: 3, Urgency: farm.Now}, {Wait: 5 * m, Bin: 2, Urgency: farm.Now}, {Wait: s, Bin: 0, Urgency: farm.Calm}, {Wait: s, Bin: 2, Urgency: farm.Calm},
		{Wait: 8 * m, Bin: 5, Urgency: farm.Today}, {Wait: m, Bin: 5, Urgency: farm.Now}, {Wait: s, Bin: 4, Urgency: farm.Now}, {Wait: m, Bin: 1, Urgency: farm.Today},
	}
	disk := func(t *testing.T) disklike { return newBox() }
	if efforttest.Soak() {
		disk = func(t *testing.T) disklike {
			d := &onDisk{t: t, dir: t.TempDir()}
			d.open()
			return d
		}
	}
	for _, kind := range []notify.Kind{notify.ByMail, notify.ByPush, notify.ByWebhook} {
		t.Run(string(kind), func(t *testing.T) {
			kills := 0
			for at := 1; ; at++ {
				var wrong []string
				killed := false
				synctest.Test(t, func(t *testing.T) {
					w := &coldWorld{t: t, disk: disk(t), now: map[int]farm.Urgency{}, death: at}
					w.live(kind, shed)
					killed = w.deaths > 0
					wrong = w.audit()
					w.disk.Close()
				})
				if len(wrong) > 0 {
					t.Errorf("killed at step %d: %d things wrong, first: %s", at, len(wrong), wrong[0])
				}
				if !killed {
					break
				}
				kills++
			}
			if t.Logf("%d kills", kills); kills < 3 {
				t.Errorf("killed %d times: the test has lost sight of the steps", kills)
			}
		})
	}
}
