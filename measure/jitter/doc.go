// Package jitter measures the timing error of a recorded tone, x(t) = a·sin(2π·f₀·(t + τ(t))).
//
// Method. The tone is mixed to zero frequency, filtered with linear phase and decimated to a complex baseband
// z. The logarithm of z holds amplitude and phase apart, exactly and at any depth: log z = α + jφ, τ = φ/(2πf₀).
// A line of log z at +f (u) and at −f (l) is phase modulation β = −j(u − l*) and amplitude modulation m = u + l*.
// A frequency offset and slow wander are a polynomial in φ, taken off and reported.
//
// Lines are found one by one, strongest first, where the spectrum of φ stands above the median of its
// surroundings so far that noise alone does so in fewer than one of a hundred captures; each is fitted with the
// window's own shape and subtracted, so that strong lines hide no weak ones. What is left is noise. Additive noise
// appears equally in α and φ, so that the density of α is subtracted from the density of φ; the rest is random jitter.
//
// A phase line with an amplitude line at its side is read so: where one of the two sidebands is missing (less
// than a quarter of the other, or not to be told from noise) it is an additive tone beside the carrier and no jitter; else
// it is split into β and m. A real amplitude and phase modulation of nearly equal depth and phase looks the same as an
// additive tone; no measurement of one tone can tell them apart.
//
// Limits. A capture longer than about a minute is cut into records of equal length: a line must be found in half of
// them, so it is no easier found than in one. A line 15 dB above the noise in a bin as wide as one over the record's
// length is found nine times out of ten and at 16 dB nearly always; no detector finds 99 % at 15 dB among half a million
// bins with so few false alarms. A clock that changes within the record by d ppm smears lines locked to it by f·d·10⁻⁶ Hz.
// Sidebands beyond the band are lost to the filter: a line of phase β at f leaves products of about β³/24 where 3f lies
// beyond the band (10 ns on 12 kHz: sidebands of −221 dBc).
package jitter
