// Package rehearse runs recorded messages through a configuration, to see what
// it would have noticed: the same decoding, doubting and judging as the live
// loop, with no broker, no journal written and nobody told. The same input
// gives the same output to the byte, in constant memory.
package rehearse
