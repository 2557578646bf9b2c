// Package integrity compares what was sent through a digital chain with what was received, word by word, at any
// offset, and says what changed the words where it can.
//
// Both recordings are read in blocks; memory does not grow with their length. Where they part, they are looked for nearby
// first, and then anywhere by what a table of at most half a million windows of the sent one holds: a loss may be of any length.
package integrity
