// Package quantity reads and writes the amounts that people put into a
// configuration, a jot or a command, each with its unit: 17C, 61F, 70%, 2 L,
// 1.2 gal, 14 kg, 16C..24C, 30m, 7d. Inside the program there are only °C, %,
// V, L, kg and [time.Duration]; this package is where the keeper's unit ends.
//
// A number without a unit is refused, since guessing it is how a bin comes to
// be watched in the wrong scale. Every refusal says what would be right.
//
// What Format… writes, Parse… reads back to the very same float64, in the
// unit that says it most briefly.
//
// It imports only farm, keeps no state and does no I/O. config,
// ingest and the commands call it.
package quantity
