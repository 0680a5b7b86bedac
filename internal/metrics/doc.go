// Package metrics shows the farm in figures: at /metrics in the text format of
// Prometheus or in OpenMetrics, whichever is asked for, and at /healthz whether the
// daemon does its work.
//
// Every scrape looks at the farm once and turns that look into metrics, so nothing
// here grows, is cached or can be stale. A value is shown only while it is
// fresh: a level that nobody measures any more disappears, rather than standing
// still at its last value. Labels come from the configuration and from fixed
// words, never from a payload.
//
// It judges nothing and changes nothing. Its registry is its own. Only cmd calls it.
package metrics
