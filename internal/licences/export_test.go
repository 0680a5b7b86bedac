package licences

// Known is the table, for the test that nothing in it is too much.
var Known = spdx
