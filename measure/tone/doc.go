// Package tone measures what a chain adds to tones and to silence: harmonic distortion, noise, hum, dynamic
// range, intermodulation, and the response to a sweep, after the practice of AES17 and IEC 60268-3.
//
// Tones are fitted, not read off a spectrum. The recording is cut into stretches of about a second; in each the
// tones are fitted by least squares with their frequencies free, so that a recorder's clock a few parts
// per million off does not smear them, and subtracted. Harmonics and intermodulation products are then averaged over
// the stretches as phasors, in step with the tones that made them: their own noise falls with the length of the
// recording. The averaged spectrum of what remains gives noise, weighted noise, hum and other lines.
//
// Tones and products are fitted in turn, each with all the others taken out, until none moves: harmonics of −6 to −40 dBc leave less than −150 dB
// in the noise (without it: −71 to −110 at 997 Hz). Lines of the mains are measured by the power of the entire hill that a
// frequency which wanders by up to 50 mHz RMS makes of them: within 0.3 dB up to the ninth harmonic (by the peak alone: 3 dB low). That is so in 1800 of
// 1800 lines of 10 to 60 s that are 33 or 73 dB above the noise in a hertz. Noise scatters those that are 21 dB above it by more: 82 % are
// within 0.3 dB in 10 s, 95 % in 20 s, and 99.7 % in 60 s (TestHumIsRightWithinThreeTenths -full).
//
// A fit weighs each stretch by a Hann window, so that noise beyond the band, as of a converter that shapes its own, affects nothing: −20
// dBFS of it above 25 kHz leave a dynamic range of 110 dB as it is within 0.02 dB (with equal weights: 0.8 dB less), and an idle tone there
// of −40 dBFS is not taken for the tone.
//
// The limit of a harmonic or product is what noise alone exceeds once in twenty times, known from the scatter between stretches; a line
// below it, or within 3 dB above, is no measured figure, however low the recording set-up's own is.
//
// What a recorder does to the samples is distinguished from what the chain does to the tones: phases that jump (jumps.go), moments at which
// what remains is far louder than around them (bursts.go), zeros and blocks that come twice.
//
// Bands are 20 Hz to 20 kHz (or half the rate, if that is less). All figures are per channel; NaN means not measurable.
//
// # Measured on simulated captures
//
// A lost or muted millisecond of a tone is named at every rate. Nothing is named in 600 clean captures with hum, spikes of the mains,
// rumble, distortion, clipping, a level that settles, and clocks off by 200 ppm that wander and warm up (-run Clean -args -full), nor in 240
// whose clock hunts in a sawtooth of 100 ns, changes its pace by 6 ppm at once, or whose level settles by 30 %. The smallest jump named is
// 250 ns; a burst is 20 dB above the residual of the tone: 20 dB over 1 ms of 15 s is 0.02 dB in the figure.
//
// A sweep's jumps follow from when its octaves arrive, less the delay of the minimum-phase filter that has the response's magnitude (so
// that a cut or a notch is no jump): 1.3 ms from 1 kHz on, half a period at the low end. A level that moves slowly looks like a response
// within one sweep; the tone shows it.
//
// Harmonics at the ends of a sweep: the faded beginning spills to 40 Hz, 60 Hz and so on at the very moments at which the harmonics of 20 Hz
// arrive, and distorts with them; both follow from the sweep itself and are taken out. At the top, harmonics that fold back at half the rate come
// near those that do not (2f and 3f meet at a fifth of the rate): from 2 kHz on 50 ms to either side are read, or 3 % of the growth time in
// short sweeps. Through 0.02·x² + 0.016·x³ the second harmonic is right to 0.01 dB and the third to 0.04 dB from 10 s on, at every point;
// 0.8 dB at 20 Hz in 5 s, with a warning. Points of which the sweep's own part may be half are null.
//
// Errors and limits of a sweep: the noise is read between the linear response and the harmonics, where nothing else is but what the sweep's own beginning
// spills, and that is taken out. How often noise stays below a limit, and the response within two of its standard errors, in 96 captures at
// 8 and 22.05 kHz, 10 and 30 s, with noise of −97 to −37 dBFS under a sweep of −6 dBFS (TestNoiseReachesTheLimitsOfASweepOnceInTwentyTimes
// -full):
//
//	                                  figures    held
//	points of harmonics from 60 Hz on   17088   94.9 %
//	points of harmonics below 60 Hz      6607   94.9 %
//	harmonics over all                    768   94.4 %
//	response                            11616   95.4 %
//
// Of tones in 600 captures each, noise stays below the limit of a harmonic in 95.2 % of 4800, of THD in 96.7 % and of intermodulation in 98.2 %, whose
// products are added by amplitude: its limit is up to 0.7 dB too high where both are noise (TestNoiseReachesItsLimitOnceInTwentyTimes -full).
//
// A floor at another level: noise, hum and other lines of the recording set-up are compared in dBFS: 997 Hz at −1 dBFS with noise
// of −110 dBFS, against a floor of −118 dBFS under a tone of −20 dBFS, is 8 dB above it. Distortion depends on the level: where the levels
// differ by more than 1 dB a figure is "measured" only above the most that the set-up's distortion can come to (its level in dBFS under a louder
// tone of the floor; grown by its order in dB per dB from a quieter one), a bound within the capture's own noise, and else "unknown".
package tone
