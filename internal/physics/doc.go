// Package physics is the nature behind the invented farms of packages demo
// and scenario: weather, rooms, heaps of worm-worked matter and the probes
// stuck into them.
//
// It is deliberately not the model the program fits. Where trend and
// husbandry speak of a first-order approach and a falling rate of drying,
// here two layers exchange heat and water, microbes grow on what they are fed
// and vapour leaves through a crust, so that a forecast which only works on
// its own assumptions is found out.
//
// It keeps no clock and draws no random number that is not a function of a
// seed and a time: the same seed gives the same farm on every run. It imports
// nothing of the project. Who calls it: demo and scenario, never the daemon.
//
// Units: °C, kPa, kg, m², W, J, seconds; moisture is water as a percentage of
// fresh mass, and a water ratio is kg of water per kg of dry matter.
package physics
