// Package influx copies the journal into an InfluxDB, so that a keeper's own
// graphs have the readings, conditions and jots.
//
// # Strategy
//
// A [Forwarder] reads the journal from a cursor onwards, in journal order, and
// moves the cursor only past what the server has accepted. Nothing is kept in
// between: when the server is away for days, the journal simply grows ahead of
// the cursor, and intake never notices. A point's measurement, tags and time (at
// millisecond precision) follow from the journal alone, and an InfluxDB
// overwrites a point with its equal; so whatever is sent twice, after a lost
// answer or a power cut, is stored once. That is also why the cursor need not
// be saved for every request, which would wear the card as much as the readings
// themselves. While all goes well one request more is on its way than is being
// waited for, so that a backlog drains as fast as the server takes it; the cursor
// still moves in order.
//
// A row that the server cannot take must not hold up those behind it: a refused
// request is cut in halves until the bad rows are alone, and these are parked in
// the journal with the server's reason. A server that refuses everything is
// another matter: then nothing moves and nothing is parked, and the keeper is told
// what to mend.
//
// # What is written
//
// bin_climate, a point a reading, has the tags farm, bin, zone and probe (bin and zone
// are left out for a probe that belongs to no zone) and the float fields
//
//	temperature_c, moisture_pct   the calibrated value; left out of a doubted reading
//	battery_v, battery_pct        likewise, for a probe's battery
//	raw                           the number as it came
//
// besides the fields doubt (why a reading is not believed, in words) and time_uncertain
// (true for a reading handed over after an outage, whose time may be hours late).
//
// bin_marks, a point a change of a condition or a jot, has the tags farm, bin, zone and
// probe, and either condition and change with the fields raised (1 or 0), urgency,
// text and episode, or jot, of and to with the fields jots (1), kg, litres, text and by.
//
// # What it must not do
//
// It judges no reading and keeps no state of its own but the cursor. It never drops a
// reading because the server is away, and its trouble never reaches intake. Only
// cmd calls it.
package influx
