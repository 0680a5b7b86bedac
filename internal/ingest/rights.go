package ingest

import (
	"net"
	"slices"
	"strings"

	"binwatchd/internal/loopback"
)

// Hear changes the topics that probes may publish. It does not wait.
func (l *Listener) Hear(topics []string) {
	topics = slices.Clone(topics)
	l.topics.Store(&topics)
}

// Refused is how many messages were dropped because their sender may not
// publish them.
func (l *Listener) Refused() int64 { return l.refused.Load() }

// may tells whether a visitor may publish under a topic, and notes it if not.
func (l *Listener) may(v *visitor, topic string) bool {
	why := ""
	switch {
	case isCommand(l.cfg.Prefix, topic):
		if !l.mayCommand(v) {
			why = "jots, hushes and seens dropped: they need the user of broker.keeper"
		}
	case !slices.ContainsFunc(*l.topics.Load(), func(filter string) bool { return matches(filter, topic) }):
		why = "messages dropped: no probe has their topic"
	}
	if why == "" {
		return true
	}
	l.refused.Add(1)
	l.refusals.note(why, "topic", quote([]byte(topic)), "from", v.RemoteAddr().String())
	return false
}

// mayCommand tells whether a visitor may write in the logbook. Where there is no
// user for that, who is on this machine may: such a one could do worse.
func (l *Listener) mayCommand(v *visitor) bool {
	if l.cfg.Keeper.asked() {
		return v.keeper
	}
	host, _, err := net.SplitHostPort(l.Addr().String())
	return err == nil && loopback.Is(host)
}

// isCommand tells whether a topic is one of jots, hushes and seens.
func isCommand(prefix, topic string) bool {
	return slices.ContainsFunc(commandFilters(strings.TrimSuffix(prefix, "/")+"/"), func(filter string) bool { return matches(filter, topic) })
}
