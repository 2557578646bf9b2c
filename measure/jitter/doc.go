// Package jitter measures the timing error of a recorded tone, x(t) = a·sin(2π·f₀·(t + τ(t))).
//
// Method. The tone is mixed to zero frequency, filtered with linear phase and decimated to a complex baseband
// z. The logarithm of z holds amplitude and phase apart, exactly and at any depth: log z = α + jφ, τ = φ/(2πf₀).
// A line of log z at +f (u) and at −f (l) is phase modulation β = −j(u − l*) and amplitude modulation m = u + l*.
// A frequency offset and slow wander are a polynomial in φ, taken off and reported; where a slow sine is most of what it
// leaves, as where a clock hunts, that goes with it. Lines below the band are taken out too, for their side lobes.
//
// Where the carrier is a quarter of the rate and the clocks are one, timing errors faster than rate/2 − f₀ fold back into φ or into α,
// by the angle at which the samples take the carrier, and no longer cancel. The fourth power of the samples gives the angle, and the errors
// and limits of the random figure hold what may have folded, however little; where the clocks are apart the record is made shorter, by an eighth at the
// most, to where it cancels. A warning says where it hardly does. Let the chain run on its own clock, or record at another
// rate than four times the tone.
//
// Lines are found one by one, strongest first, where the spectrum of φ exceeds the median of its surroundings so far that noise alone does
// so in fewer than one of a hundred captures; each is fitted with the window's own shape and subtracted, so that strong lines hide no weak
// ones; where its residual is large, two are fitted together in its place. The residual of all is noise. Additive noise appears equally in
// α and φ, so that the density of α is subtracted from the density of φ; the rest is random jitter. Where α clearly exceeds φ it is noise
// of the amplitude itself, and the rest of the band shows what is additive. Amplitude noise that stays below the sum of additive noise and
// jitter is distinguished from additive noise where it rises towards the carrier; where it is as even as additive noise it is not, and
// makes jitter look smaller.
//
// Ticks and lost samples do not come from a clock: the noise without lines, as a function of time, shows them where they exceed it by 8
// standard errors. A tick is bridged over the filter's length, before the noise is read; where the phase steps, by half a sample or more or
// as where a clock is corrected, it stays and is named. Steps of full periods leave no trace. Where a block was lost, or the tone pauses
// for a millisecond or more, the longest unbroken stretch is measured.
//
// A phase line with an amplitude line at its frequency is read as follows: where one of the two sidebands is missing (less than a quarter
// of the other, or not to be distinguished from noise) it is an additive tone on one side of the carrier and no jitter; else it is split
// into β and m. A real amplitude and phase modulation of nearly equal depth and phase looks the same as an additive tone; no measurement of
// one tone can distinguish them. Where a tone's clock is not the carrier's and the one drifts against the other, the tone is spread over
// several bins; what is found of it in phase and in amplitude is then judged together, over the full stretch. A line of jitter whose own
// frequency wanders, as the mains' does, falls into pieces in a long record. Pieces within some twelve bins whose sum has a steady
// envelope, which separate lines, beating, do not have, are one line: its place the centroid, its peak from the power of the stretch. A
// line that wanders by more, as a switching supply's may, is a hump of the spectrum: it is found before any line is sought, by an envelope
// far steadier than that of noise in the same band, and counts as one line, too. A warning names the lines that wander. Steady lines in a
// hump are subtracted before it is judged, and found as lines of their own. A hump that holds less than about half of the power of its
// stretch is not distinguished from noise, nor one with a stronger steady line within it. Pieces far weaker than a line near them are part
// of it where they are in quadrature with it, as phase modulation is, the sideband that was too weak to be found included.
//
// Detection. A line is as many dB above the noise as each of its sidebands is above the noise in a bin of the
// capture's own spectrum, one bin for the full record, under additive noise. At 15 dB a line is found 99 times in 100.
//
// How hard that is depends on the phase: a line of peak β, in a record of T seconds whose phase has noise of the one-sided density S, is
// ρ = (β²/2)/(S/T) above it. Both sidebands bear on β, and half of the additive noise is amplitude: ρ is 3 dB more than the figure of a
// sideband. The best that any detector without knowledge of frequency and phase can do with false alarms at a rate p for each of N = band·T
// bins is P = Q(2ρ), the probability that a non-central χ² of three degrees of freedom (two of the amplitude, one of the frequency) and
// non-centrality 2ρ exceeds 2t, where t solves N·√(πt/3)·exp(−t) = N·p. For N·p = 0.002, T = 10 s and 10 Hz to 9.6 kHz that is 97.1 % at
// ρ = 15 dB, 99.1 % at 15.5 dB and 99.8 % at 16 dB; for 60 s 94.6, 98.1 and 99.5 %. So, measured by ρ, no detector finds 99 % at 15 dB with
// so few false alarms. This one found 96.0 % of 2000 simulated lines at ρ = 15 dB in 10 s: it loses a quarter of a decibel, a third each to
// the taper, to fitting within a few lobes and to the scatter of its estimate of the noise; none between bins, since the spectrum is padded
// and each line fitted.
//
// Coverage. How many of the figures of simulated captures are within two of their stated errors, where 95 in 100 should be, as "go test -run
// EveryStated -v -args -full" counts them: tones 0 to 45 ppm from a quarter of 48 and 96 kHz and away from it, 4 and 12 s, noise of −130 to −105 dBFS,
// 60 ps of white clock jitter, 8 lines of jitter and 8 of amplitude. "make test" counts a part of them.
//
//	                                  figures  within two
//	additive                              192     94.3 %
//	additive, clocks within 11 ppm        192     94.3 %
//	amplitude line                       3072     95.8 %
//	attenuation of a band                2877     94.9 %
//	the same, clocks within 11 ppm       1956     95.4 %
//	attenuation of a line                1536     95.1 %
//	bound                                  36    100.0 %
//	bound of a decade                     141     97.2 %
//	bound of the total                     24    100.0 %
//	decade                                543     94.8 %
//	decade, clocks within 11 ppm          468     95.9 %
//	deterministic                         384     95.3 %
//	least attenuation of a band          3821     95.0 %
//	line                                 3072     95.0 %
//	narrow band                          8555     95.8 %
//	narrow band, clocks within 11 ppm    7378     95.8 %
//	random                                192     95.8 %
//	random, clocks within 11 ppm          168     96.4 %
//	raw phase                             192     94.8 %
//	raw phase, clocks within 11 ppm       192     93.2 %
//	shared                                 96     93.8 %
//	shared, clocks within 11 ppm           84     98.8 %
//	total                                 192     94.8 %
//	total, clocks within 11 ppm           168     97.0 %
//
// A bound of the whole band allows for all that may fold and for all that amplitude noise may hide, and holds more often than 95 times. Under amplitude
// noise that falls as 1/f, bounds hold in 102 of 102 captures and 335 of 338 decades, and random jitter is within two errors in 98.3 % of 58
// (TestBoundsHoldUnderAmplitudeNoise -full).
//
// Of 84 realistic devices (loop-shaped jitter with peaking, skirts, packet lines, mains that wander, idle tones; a recorder with noise, jitter,
// hum and distortion of its own; 44.1 to 192 kHz) none of 1008 lines is false and none is lost ("go test -run Devices -v -args -full", five
// minutes); within two errors, and the worst in errors:
//
//	decade                                251     93.6 %   3.5
//	deterministic                          84     98.8 %   2.2
//	line                                 1008     96.8 %   3.2
//	random                                 84     95.2 %   3.2
//	total                                  84     98.8 %   2.1
//
// The skirts of wandering lines, pieces too weak to be found, would raise the decade from 100 Hz by up to 1.5 errors, and by 0.1 to 0.5 in most (91.6 % of
// the decades and 92.9 % of the random figures were within two); they are left out (TestTheSkirtOfAWanderingLineIsNoRandomJitter).
//
// Where clocks are near the error holds an allowance for what may fold; white clock jitter, as here, makes all of that.
//
// The test signal's own residue at a line is known by size, not by phase. A line that exceeds it counts for the difference of
// the powers, which is right on average over phases; a line e with a residue k may read anything from √(e² − 2ek) to √(e² + 2ek).
//
// Limits. A block of full periods of the tone that is dropped or repeated leaves no trace in it: send a signal without a period
// (see integrity) to find lost samples. A capture longer than about two minutes is cut into records of equal length: a line must be found in half of
// them, so it is no easier found than in one. A clock that changes within the record by d ppm smears lines locked to it by f·d·10⁻⁶ Hz.
// Two lines nearer to each other than 0.7 over the record's length may show as one or, where they are strong, as several. Sidebands beyond the band are lost to the filter: a line of phase β at f leaves products of about β³/24 where 3f lies
// beyond the band (10 ns on 12 kHz: sidebands of −221 dBc).
//
// # Measured on simulated captures
//
// What the tests found; the test that repeats it is named.
//
// Accuracy: 108 captures at 44.1 to 192 kHz, 10 to 120 s, noise of −100 to −140 dBFS hold 1944 lines whose errors have an RMS of 1.01 of
// their standard errors, and 106 random figures with 1.03; every decade is within its errors (TestAccuracyGrid -full).
//
// Detection: of lines with sidebands 15 dB above one bin of the capture's spectrum, 1200 of 1200 are found in 10, 30 and 60 s, at 44.1 to
// 192 kHz (TestLinesFifteenDBAboveABin… -full). In 1000 captures of two channels without a line there are three false lines of jitter and none of
// amplitude.
//
// Close lines: two lines 0.7 bins apart or more are read as two, each right, from equal levels to 30 dB apart, in any phase (480 pairs
// of 480; TestPairsAreTwoLinesInEveryPhase -full). At 0.5 bins it is 29 of 32; the others, at 1 : 30, are read as one.
//
// Lines that wander: harmonics of mains that stray by 2 to 20 mHz, in 10 to 60 s, are one line each with peaks right within 1 %
// (TestLinesThatFollowTheMainsAreOneEach). A line of 40 ps that strays by 3 mHz to 150 Hz RMS is one line, its peak right within 0.2 %
// (TestALineIsOneAtAnyWander -full).
//
// Below the band: lines from 9 Hz down to a sway of 0.1 Hz, of 300 ps to 10 µs, leave a random figure of 20 ps as it is, within its standard
// error (TestWhatLiesBelowTheBandLeavesNoTrace). For noise that falls by 30 dB a decade 3 s are too short: the figure reads 1.5 times too
// large on average, and the warning of few periods says so.
//
// Folding: what "impair --jitter random --jitter-ps 100" makes of the jitter signal is 69.3 ps within the band. With one clock on both sides the plain
// subtraction would give 44.8 ± 0.1 ps; with what may fold allowed for, the figure's error holds 69.3. Where the sampling angle turns
// all that folds into phase, white jitter of the recorder's own clock reads √2 too large, within an error that says so.
//
// Amplitude noise: 20 ps with amplitude noise of 1 and 3 ppm that falls as 1/f read 20.01 ps on average. In 800 channels of 0 to 30 ps
// without it none was found, and the figures scatter by 0.99 of their errors. White amplitude noise below the jitter cannot be separated from
// it: 0.5 ppm over the full band make 20 ps read 19.1.
//
// Ticks: a tick of 10⁻⁴ to 10⁻² in one sample is left out and moves the figure by less than a third of its error; up to half of full
// scale the lines and decades stay as they are. One sample lost or repeated is named at 48 to 384 kHz. There was no false alarm in the 800
// channels above, nor under random jitter of 10 to 300 ns.
//
// Memory is flat from one minute on: two channels of a minute are analysed at the same time, or one of two minutes, the longest record
// (TestMemory… -full goes on to an hour). The time grows with the length: 60 s of 192 kHz stereo take 1.2 s on two free cores.
package jitter
