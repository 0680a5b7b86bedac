package husbandry

import "math"

// Cooled is the temperature of a body after some hours in a room, by Newton's
// law: T = Ta + (T0−Ta)·e^(−kt), k per hour.
func Cooled(startC, roomC, kPerHour, hours float64) float64 {
	return roomC + (startC-roomC)*math.Exp(-kPerHour*hours)
}

// CooledIn is after how many hours such a body reaches a temperature; ok is
// false when it never does.
func CooledIn(startC, roomC, kPerHour, toC float64) (hours float64, ok bool) {
	part := (toC - roomC) / (startC - roomC)
	if !(part > 0 && part <= 1 && kPerHour > 0) {
		return 0, false
	}
	return -math.Log(part) / kPerHour, true
}
