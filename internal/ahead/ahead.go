// Package ahead reckons what comes: how much castings there will be by when, and what
// the keeper will have to do on which day.
//
// It is pure: from how the farm stands (a [farm.View]), its logbook and the daily
// figures of its past it makes a [farm.Ahead]. It reads no clock and no journal, raises
// nothing and tells nobody; commands, the page, the mail and the calendar show the one
// list it makes.
//
// In reading order: ahead.go is what it is made from; activity.go how fast matter ripens
// in a bin, day by day; castings.go the account of castings, needs.go what it says to
// those who want some, suppose.go what would be if; comings.go the list by day,
// look.go all of it together and in words, calendar.go the same for a calendar.
package ahead

import (
	"time"

	"binwatchd/internal/farm"
)

// A Book is what the farm's journal says, as far as what comes follows from it.
type Book struct {
	Farm      *farm.Farm
	View      farm.View
	Jots      map[string][]farm.Jot        // by bin, oldest first
	Warm      map[farm.Place][]farm.Sample // °C by days; a place without a zone is the air at the bin
	Heard     map[string]time.Time         // by probe: its first day
	Batteries map[string][]farm.Sample     // by probe, by days
	If        *Supposition                 // nil: nothing is supposed
}

// PastDays is how far back a book reaches: a year, and what ripens in it.
const PastDays = 400

const day = 24 * time.Hour

// midnight is the start of a day in the farm's time zone.
func (b *Book) midnight(t time.Time) time.Time {
	y, m, d := t.In(b.Farm.Location).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, b.Farm.Location)
}
