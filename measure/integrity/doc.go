// Package integrity compares what was sent through a digital chain with what was received, word by word, at any
// offset, and says what changed the words where it can.
//
// Both recordings are read in blocks; memory does not grow with their length.
package integrity
