package systemd_test

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/systemd"
)

// A script answers checks one after the other, as it is told to.
type script struct {
	asked  chan context.Context
	answer chan error
}

func newScript() script { return script{make(chan context.Context), make(chan error)} }

func (s script) check(ctx context.Context) error {
	s.asked <- ctx
	return <-s.answer
}

// say answers one check.
func (s script) say(err error) {
	<-s.asked
	s.answer <- err
}

func TestFeedSendsASignOfLifeForEachCheckThatSucceeds(t *testing.T) {
	socket := filepath.Join(t.TempDir(), "notify")
	manager := listen(t, socket)
	n := notifier(t, map[string]string{"NOTIFY_SOCKET": socket, "WATCHDOG_USEC": "20000"})
	var log bytes.Buffer
	s, ended := newScript(), make(chan error)
	ctx, stop := context.WithCancel(t.Context())
	go func() { ended <- n.Feed(ctx, s.check, slog.New(slog.NewTextHandler(&log, nil))) }()

	hung := errors.New("the loop did not answer")
	for _, answer := range []error{nil, nil, hung, hung, hung, nil} {
		s.say(answer)
	}
	<-s.asked // the look after the last answer: all before it has been dealt with
	stop()
	s.answer <- nil
	if err := <-ended; err != nil {
		t.Errorf("Feed: %v", err)
	}
	if err := n.Ready("the end"); err != nil {
		t.Fatal(err)
	}
	var got []string
	for m := manager.next(t); m != "READY=1\nSTATUS=the end"; m = manager.next(t) {
		got = append(got, m)
	}
	want := []string{"WATCHDOG=1", "WATCHDOG=1", "WATCHDOG=1", "WATCHDOG=1"} // as many as checks that succeeded
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if n := strings.Count(log.String(), hung.Error()); n != 1 {
		t.Errorf("the trouble was logged %d times, want once:\n%s", n, &log)
	}
	if !strings.Contains(log.String(), "again") {
		t.Errorf("its end was not logged:\n%s", &log)
	}
}

func TestFeedGivesEachCheckATimeLimit(t *testing.T) {
	socket := filepath.Join(t.TempDir(), "notify")
	listen(t, socket)
	n := notifier(t, map[string]string{"NOTIFY_SOCKET": socket, "WATCHDOG_USEC": "20000"})
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	limits, ended := make(chan error, 1), make(chan error)
	hang := func(ctx context.Context) error {
		<-ctx.Done() // a check that hangs ends with its own context
		select {
		case limits <- ctx.Err():
		default:
		}
		return ctx.Err()
	}
	go func() { ended <- n.Feed(ctx, hang, slog.New(slog.DiscardHandler)) }()
	if err := <-limits; !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("got %v, want %v", err, context.DeadlineExceeded)
	}
	stop()
	if err := <-ended; err != nil {
		t.Errorf("Feed: %v", err)
	}
}

func TestFeedWithoutAWatchdogChecksNothing(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error)
	check := func(context.Context) error { panic("checked") }
	go func() { ended <- systemd.Notifier{}.Feed(ctx, check, slog.New(slog.DiscardHandler)) }()
	stop()
	if err := <-ended; err != nil {
		t.Errorf("Feed: %v", err)
	}
}
