// Package rounds makes the care list: what to do at each bin today, most
// urgent bin first, with amounts, what to bring, and why. It is a pure
// function of a view of the farm; the command, the page and the weekly mail
// all show the one list. It raises nothing and judges nothing by itself.
package rounds
