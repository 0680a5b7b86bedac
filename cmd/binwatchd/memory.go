package main

import (
	"context"
	"runtime/debug"
	"time"
)

// giveBackEvery is how often memory is given back: as often as Go collects an
// idle heap of its own accord.
const giveBackEvery = 2 * time.Minute

// giveBack returns the memory that starting up and drawing pages took to the
// machine. Go by itself keeps it for as much again as is in use, which is much
// for a board with half a gigabyte.
func giveBack(context.Context) { debug.FreeOSMemory() }
