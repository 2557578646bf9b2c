# Makes the golden values of TestWeightedNoiseAgreesWithAnotherLibrary:
#   python3 weighted_noise.py      (numpy 1.24.2, scipy 1.10.1)
# The samples are made by a recurrence that the test repeats bit by bit; the weightings are the transfer functions in the
# s plane, taken at the frequencies of scipy's periodogram, so that nothing of the code under test is used.
import numpy as np
import scipy
from scipy import signal

rate, n = 48000, 48000 * 4
state, x = 12345, np.empty(n)
for i in range(n):
    state = (1664525 * state + 1013904223) % 2**32
    x[i] = (state / 2**32 - 0.5) * 2e-4
t = np.arange(n) / rate
x += 1e-5 * np.sin(2 * np.pi * 50 * t) + 3e-6 * np.sin(2 * np.pi * 6300 * t)
f, p = signal.periodogram(x, rate, window="boxcar", detrend="constant", scaling="density")

s = 2j * np.pi * f
# IEC 61672-1, poles at 20.6, 107.7, 737.9 and 12194 Hz, 0 dB at 1 kHz.
w = 2 * np.pi * np.array([20.598997, 107.65265, 737.86223, 12194.217])
def a(s):
    return s**4 / ((s + w[0])**2 * (s + w[1]) * (s + w[2]) * (s + w[3])**2)
A = np.abs(a(s) / a(2j * np.pi * 1000))**2
# ITU-R BS.468-4, the realisation's rational function of f in Hz, and 0 dB at 2 kHz for RMS.
def c(f):
    h1 = -4.737338981378384e-24*f**6 + 2.043828333606125e-15*f**4 - 1.363894795463638e-7*f**2 + 1
    h2 = 1.306612257412824e-19*f**5 - 2.118150887518656e-11*f**3 + 5.559488023498642e-4*f
    return 1.246332637532143e-4*f / np.sqrt(h1**2 + h2**2)
C = (c(f) / c(2000.0))**2
band = (f >= 20) & (f <= 20000)
for name, g in [("unweighted", 1), ("A", A), ("CCIR-RMS", C)]:
    print(name, "%.4f dBFS" % (10*np.log10(2*np.sum((p*g)[band])*(f[1]-f[0]))))
print("numpy", np.__version__, "scipy", scipy.__version__)
print("density at 3 to 4 kHz %.4f dBFS in 1 Hz" % (10*np.log10(2*np.mean(p[(f >= 3000) & (f <= 4000)]))))
# The same by Welch's method with the segments that package tone takes for a recording of this length.
fw, pw = signal.welch(x - x.mean(), rate, window="blackmanharris", nperseg=32768, noverlap=16384, detrend=False)
s = 2j * np.pi * fw
band = (fw >= 20) & (fw <= 20000)
with np.errstate(all="ignore"):
    for name, g in [("unweighted", 1), ("A", np.abs(a(s) / a(2j * np.pi * 1000))**2), ("CCIR-RMS", (c(fw) / c(2000.0))**2)]:
        print("Welch", name, "%.4f dBFS" % (10*np.log10(2*np.nansum((pw*g)[band])*(fw[1]-fw[0]))))
print("Welch density at 3 to 4 kHz %.4f dBFS in 1 Hz" % (10*np.log10(2*np.mean(pw[(fw >= 3000) & (fw <= 4000)]))))
