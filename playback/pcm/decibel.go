package pcm

import "math"

// DB returns 20·log10(ratio), the level in dB of an amplitude ratio.
//   - DB(0) = −Inf
//   - DB(x) = NaN for x < 0
func DB(ratio float64) float64 { return 20 * math.Log10(ratio) }

// PowerDB returns 10·log10(ratio), the level in dB of a power ratio.
//   - PowerDB(0) = −Inf
//   - PowerDB(x) = NaN for x < 0
func PowerDB(ratio float64) float64 { return 10 * math.Log10(ratio) }

// Ratio returns the amplitude ratio of a level in dB, 10^(db/20).
func Ratio(db float64) float64 { return math.Pow(10, db/20) }

// DBFS returns the AES17 level of an RMS value in units of full scale, 20·log10(rms·√2):
// a full-scale sine reads 0 dBFS.
//   - DBFS(0) = −Inf
func DBFS(rms float64) float64 { return DB(rms * math.Sqrt2) }

// RMSOf returns the RMS value, in units of full scale, of an AES17 level in dBFS; the inverse of DBFS.
func RMSOf(dbfs float64) float64 { return Ratio(dbfs) / math.Sqrt2 }
