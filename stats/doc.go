// Package stats answers the questions a reviewer asks of a discrimination test: could it be chance, how large can
// the effect still be, how many trials would show it, do the listeners differ, does it grow with the dose.
// Numbers in, numbers out: nothing here reads, prints or knows of audio.
//
// # Symbols
//
//	n   trials of one listener, or of one session
//	k   correct answers among n
//	p₀  the chance of a correct answer by guessing: 1/2 in ABX and duplicate pairs, 1/3 in a triangle
//	p   the chance of a correct answer of this listener
//	p_d the proportion of discriminators, (p − p₀)/(1 − p₀): how often the listener knows, if they guess otherwise
//	d′  the distance between what two stimuli evoke, in units of the spread each evokes
//	α   the accepted risk of 'heard' where nothing can be heard
//	β   the accepted risk of missing a real effect; power is 1 − β
//	H,F hit rate and false-alarm rate: how often 'different' is said of different and of same pairs
//
// # Exactness
//
// Tails come from a continued fraction with a saddle-point prefactor and are held as logarithms, so that a relative
// error below 1e-9 holds down to p = 1e-300 and beyond, and for 100,000 trials; every p has a log10 beside it that
// does not underflow. Whether a result is significant is decided by comparing k with the integer critical count,
// never by comparing a rounded p with α.
//
// # Not measurable
//
// A number that the data do not determine is NaN (d′ of a perfect score, the threshold of flat data); no made-up
// zero stands for it. Results carry Warnings: plain sentences on what the numbers cannot tell.
package stats
