// Package influxtest starts real time-series databases for tests: Debian's
// influxd 1.6 and victoria-metrics, each on free loopback ports with its data
// under the test's own temporary directory.
//
// A server that cannot be started fails the test; nothing is skipped. The
// servers are ended by process id, and before a test is handed one it is
// proved that the listening socket belongs to that very process, so a test can
// never talk to a database somebody else runs. It is used by tests only and
// knows nothing of the farm.
package influxtest
