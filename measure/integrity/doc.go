// Package integrity compares what was sent through a digital chain with what was received, word by word, at any
// offset, and says what changed the words where it can.
//
// Both recordings are read in blocks; memory does not grow with their length. Where they part, they are looked for nearby
// first, and then anywhere by what a table of at most half a million windows of the sent one holds: a loss may be of any length.
//
// Where no block is the same, what the chain does to all that passes it is learnt from stretches of the recording, each
// channel for itself: which sent one it carries, how late, at what gain, with what constant, through what filter, and how
// much is left. The received words are then compared with what such a chain would have left of the sent ones, within what is
// left, so that a stretch muted, lost or repeated is found beside a gain, dither, a cut, a resampler, inverted and exchanged channels.
package integrity
