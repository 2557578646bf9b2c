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
// in the noise (without it: −71 to −110 at 997 Hz). Lines of the mains are measured by the power of the whole hill that a
// frequency which wanders by up to 50 mHz RMS makes of them: within 0.3 dB up to the ninth harmonic (by the peak alone: 3 dB low).
//
// The limit of a harmonic or product is what noise alone exceeds once in twenty times, known from the scatter between stretches; what stands
// below it, or within 3 dB above, is no measured figure, however low the recording set-up's own is.
//
// What a recorder does to the samples is told from what the chain does to the tones: phases that jump (jumps.go), moments at which
// what remains is far louder than around them (bursts.go), zeros and blocks that come twice.
//
// Bands are 20 Hz to 20 kHz (or half the rate, if that is less). All figures are per channel; NaN means not measurable.
package tone
