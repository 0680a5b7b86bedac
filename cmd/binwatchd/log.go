package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"sync"

	"binwatchd/internal/systemd"
)

// newLog writes a log as text, or as JSON for programs that read it. Where w leads to
// systemd's journal each line begins with its priority (<4>, as sd-daemon(3) has it) and
// has no time of its own: the journal notes that, and journalctl -p finds by priority.
func newLog(w io.Writer, asJSON, inJournal bool, least slog.Level) *slog.Logger {
	opts := &slog.HandlerOptions{Level: least}
	to := func(w io.Writer) slog.Handler {
		if asJSON {
			return slog.NewJSONHandler(w, opts)
		}
		return slog.NewTextHandler(w, opts)
	}
	if !inJournal {
		return slog.New(to(w))
	}
	opts.ReplaceAttr = func(groups []string, a slog.Attr) slog.Attr {
		if len(groups) == 0 && a.Key == slog.TimeKey {
			return slog.Attr{}
		}
		return a
	}
	var one sync.Mutex
	var p prioritized
	for i, rank := range ranks {
		p[i] = to(&marked{w: w, mu: &one, mark: rank.mark})
	}
	return slog.New(p)
}

// ranks are the priorities of syslog(3) that a level stands for, the gravest first.
var ranks = [...]struct {
	from slog.Level
	mark string
}{{slog.LevelError, "<3>"}, {slog.LevelWarn, "<4>"}, {slog.LevelInfo, "<6>"}, {slog.LevelDebug, "<7>"}}

// prioritized has a handler for each of ranks.
type prioritized [len(ranks)]slog.Handler

func (p prioritized) of(l slog.Level) slog.Handler {
	for i, rank := range ranks {
		if l >= rank.from {
			return p[i]
		}
	}
	return p[len(p)-1]
}

func (p prioritized) each(change func(slog.Handler) slog.Handler) slog.Handler {
	for i, h := range p {
		p[i] = change(h)
	}
	return p
}

func (p prioritized) Enabled(ctx context.Context, l slog.Level) bool { return p.of(l).Enabled(ctx, l) }

func (p prioritized) Handle(ctx context.Context, r slog.Record) error {
	return p.of(r.Level).Handle(ctx, r)
}

func (p prioritized) WithAttrs(attrs []slog.Attr) slog.Handler {
	return p.each(func(h slog.Handler) slog.Handler { return h.WithAttrs(attrs) })
}

func (p prioritized) WithGroup(name string) slog.Handler {
	return p.each(func(h slog.Handler) slog.Handler { return h.WithGroup(name) })
}

// marked writes each line with a mark before it, one at a time.
type marked struct {
	w    io.Writer
	mu   *sync.Mutex
	mark string
}

func (m *marked) Write(line []byte) (int, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	_, err := m.w.Write(append([]byte(m.mark), line...))
	return len(line), err
}

// inJournal tells whether a writer is the standard error that systemd's journal reads.
func inJournal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && systemd.InJournal(os.Getenv, f)
}

// complain writes what went wrong to talk, which may be several lines; in systemd's
// journal, as errors.
func (s *streams) complain(text string) {
	mark := ""
	if inJournal(s.talk) {
		mark = ranks[0].mark
	}
	for line := range strings.SplitSeq(text, "\n") {
		fmt.Fprintln(s.talk, mark+line)
	}
}
