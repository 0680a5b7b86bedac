// Package calibration makes calibration points for a probe out of samples of
// which the truth is known: weighed wet and dry, marked at a known value, or
// judged by feel. It says what the points are worth.
//
// It is pure: no clock, no file, no probe is asked. The command calibrate and
// the page are its callers; what is done with points in force is package
// ingest's.
package calibration
