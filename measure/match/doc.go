// Package match finds the differences between two captures of the same music that are not the work of the chains: offset, clock
// drift, gain, polarity and swapped channels; removes them, alike for all; and measures the residual.
//
// Positions are frames unless a name says otherwise. A is the reference: frame t of A is at
// offset + t·(1 + drift) of B.
//
// # Method
//
// Compare follows the method step by step: look at each capture (look.go), search for the places where B may lie and align it there
// (package align), measure the residual (package residual), judge which place it is (rival.go), name what is wrong (package fault), and
// report the winner once (report.go). Package audible holds the band and its transforms, package fit the least squares.
//
// Sustained tones: every full period of a steady tone is nearly as good a place as the true one. The entire stretch is correlated at once
// (rival.go), so that attack and end decide, and the doubt is reported. Where two places explain nearly as much, both are measured in full and the
// deeper null is taken. A pad that swells, and whose swell comes back, has neither: both captures are decimated and correlated over every possible
// displacement (align/survey.go), and each place that explains nearly as much is nulled.
//
// Pauses: what two recorders add where the music rests has no common delay. A block that does not hold more of both than chance has no weight
// (align/track.go). Music that fills a tenth of the overlap is placed within its standard errors, and the null is the one that the noise predicts
// (silence_test.go).
//
// Jumps: where samples were lost, repeated or cut, every place and size is named, and the longest segment between two jumps is
// compared (align/segment.go). Two finders feed this one division, since neither finds all: anchors, good to half a frame each,
// show jumps from 24 frames to minutes, and the track of delays those from one frame to 60, beyond which the blocks on the far side hold
// nothing in common with the line. Of 11 jumps from 1 to 48000 frames in 15 s each finds 7 alone, both together all
// (align/jump_test.go). A clock that swings bends the track and is not a jump (slip_test.go).
//
// Loops: where music repeats, the same survey finds the repetitions, and those that explain most are nulled over a few short stretches: a
// loop of 1.5 s repeated for a minute, under a voice 20 to 40 dB below it, is found where its voice is.
//
// Channels and clocks: each channel has an offset of its own, found together with the delays of the blocks (align/channel_delay.go); half a
// frame between them leaves the drift right to 10⁻⁵ ppm on recorded music. A sway too fast for the track is named, its size right to a
// fifth. Clocks are sought up to 1100 ppm apart, the usual 500 first; white noise may be 10 dB below the music.
//
// Events: the residual is compared every 5 ms with stretches as loud, with stretches of as much treble and with its neighbours, channel by
// channel (fault/outburst.go, fault/event.go). Dropouts from 1 ms on, clicks, held and repeated buffers are named with place and length; none in
// 24 pairs of noise bursts up to Nyquist, a fraction of a sample apart, nor in 24 of recorded music with noise. fault/level.go finds a level that
// steps or drifts by 0.05 dB, fault/mono.go a capture that was collapsed to mono; residual/linear.go takes the linear part out before clipping is
// claimed.
//
// Band limits (fault/band_limit.go) are judged over the same stretches of both captures, without those that hold an event and without each
// band's strongest: a cut within the music, or what one capture alone holds, is no treble of the music. Where what goes on is weaker
// below by 3 dB, the images of a poor conversion are named. Many clicks in soft passages (14 mutes in 15 s) can still be taken for
// treble.
//
// Warnings are data: a code (this package's, package fault's, or measure.Clipped), a channel, a stretch of A and a value.
//
// # Measured on recorded music
//
// Recorded music cannot be part of the tests. Three pieces of orchestral game music (GPL, lossy-coded, 40 s, 48 kHz, 24 bits) were altered with
// sox 14.4.2 and compared: delay by "rate -v 480000", "delay", "rate -v 48000"; drift by "speed" and "rate -v"; "vol", "trim", white
// noise mixed in. The largest errors of all:
//
//	altered                                    offset, samples      drift, ppm           gain, dB    null, dB
//	1234.3 and 0.3 samples, −1.5 dB            0.0000002            0.0000003            0.00000004  −122 to −128
//	20 and −200 ppm                            0.0000002            0.00004              0.00000001  −123 to −128
//	cut by 3.2 s, inverted                     0                    0                    0           nothing is left
//	77.7 samples, −0.3 dB, noise at −97 dBFS   0.000003 (se 9e-6)   0.000002 (se 7e-6)   0.000001    −74 to −79
//
// A filter (0.5 dB at 1 kHz), clipping, overdrive and 480 samples lost were each named, and nothing where nothing had been done. A low-pass at
// 16 kHz was named as a band limit on all six pieces tried, and under noise of −95 dBFS in both captures on 12 of 14 more: the other
// two reach 16 kHz in hardly any attack. Of 72 lossy copies (12 pieces, 30 s, 44.1 kHz, through ffmpeg: libmp3lame at 128, 192 and
// 320 kb/s, aac at 128 and 256, libvorbis at quality 5) none passed without a warning. On twelve invented pieces of 20 s (drums, piano, strings, voices,
// applause; four with bass far above all else) 3 of 72 do: mono piano at 192 and 320 kb/s and a slow guitar at 320. Their residual is 73 to 77 dB below
// the music, and 49 dB or more below it in all but two third octaves: as small as that of a chain that distorts by 0.02 %, and a null does not show which of
// the two it is. It rises with the music all the same, and "heardiff bands" says that moments of it could show. Of twelve clean pairs with
// hum, distortion, direct voltage and unequal noise none was warned of, nor is noise of −90 to −50 dBFS in both, or a clock that swings by 100 µs,
// taken for a difference in response. Of 300 invented clean pairs none is said to follow the music (TestCleanChainsDoNotFollowMusic -full). "go test ./measure/match -run Music -args -music FILE.wav" recovers known truth on a file of yours.
//
// Two captures of five minutes of music, 96 kHz stereo, take 5.2 to 5.4 s and 342 MB at most on two free cores.
//
// How often two standard errors of the response hold the truth, in some 1200 bands each, over bright, mellow and dull music of 8 s and
// four shares of the noise between A and B (TestTwoErrorsOfTheResponseHoldTheTruth -full):
//
//	noise (dBFS)     −60    −70    −80    −90   −100
//	held (%)        95.4   96.6   96.3   96.3   97.5
//
// Two standard errors of the offset, the drift and the gain hold the truth in 93.9 %, 92.8 % and 98.9 % of 180 pairs of 6 and 12 s, with
// noise of −80 to −50 dBFS as strong in A as in B, and ten times as strong in either (TestTwoErrorsOfOffsetDriftAndGainHoldTheTruth -full).
// The gain's error allows for all noise being A's.
package match
