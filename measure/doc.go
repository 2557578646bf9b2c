// Package measure holds what all measurements share: weighting curves, loudness, true peak, and a first look
// at a file. Its subfolders measure one thing each: timing error, distortion and noise, integrity, matching.
//
// Levels in dBFS follow AES17: a full-scale sine reads 0 dBFS. Loudness in LUFS follows ITU-R BS.1770, where a
// full-scale 997 Hz sine in one channel reads −3.01. A figure that cannot be measured is NaN, silence is −Inf.
//
// What repeats here and in the subfolders is declared, not computed: each result names all of its JSON keys, and reads and writes itself, since its
// form is fixed by itself; each constant has its reason.
package measure
