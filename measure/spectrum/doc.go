// Package spectrum holds what every spectral measurement needs: windows, Fourier transforms with reusable
// buffers, averaged spectra, and lines found against the noise around them. It imports nothing of the project.
//
// The API in short:
//
//	Hann, BlackmanHarris4, Cosine(…), Tukey(t)                       windows, periodic
//	LowPass(KaiserLength(…), …)                                      the taps of a low-pass
//	w.Samples(n), w.Mean(), w.ENBW(), w.Lobe(), w.Response(x)        their samples and figures of merit
//	NewPlan(n).Forward / Inverse                                     real transform, n a power of two
//	NewComplexPlan(n).Forward / Inverse                              complex transform
//	NewAverager(Config{…}).Write(samples) … .Spectrum()              Welch's averaged spectrum, in blocks
//	s.Density[k], s.LineAmplitude(k), s.BandPower(lo, hi)            density, line and band scales
//	s.Peak(k), s.Noise(…), s.Lines(…)                                interpolated peaks, local noise, lines
//
// Scales. X[k] = Σ x[n]·w[n]·exp(−j2πkn/N) is the windowed transform. A sine between bins 0 and N/2 has
//
//	amplitude      2·|X|/(N·mean(w))                in units of full scale
//	density        2·|X|²/(rate·Σw²)                in full scale squared per Hz, one-sided
//
// Noise has no amplitude and a line has no density: the noise in one bin of an amplitude plot is ENBW·rate/N
// wide, so a floor is given as a density or as the power of a band.
//
// ref: G. Heinzel, A. Rüdiger, R. Schilling, "Spectrum and spectral density estimation by the discrete
// Fourier transform (DFT)", Max-Planck-Institut für Gravitationsphysik, 2002.
// ref: P. D. Welch, "The use of fast Fourier transform for the estimation of power spectra", IEEE Trans.
// Audio Electroacoust. AU-15, 1967.
package spectrum
