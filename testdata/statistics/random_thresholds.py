# scipy 1.10.1, numpy 1.24.2, /usr/bin/python3 random_thresholds.py: draws invented listeners, then fits thresholds that
# are normal over listeners by maximising the product of integrals (600-point Gauss-Legendre, checked at the maximum with integrate.quad) by
# Nelder-Mead to 1e-11, and profiles each parameter by brentq on a nested maximisation.
import numpy as np, sys
from scipy import integrate, optimize, special, stats
rng = np.random.default_rng(20240611)
doses = [1, 2, 4, 8, 16]
rise = {"logistic": lambda v: special.expit(v), "weibull": lambda v: -np.expm1(-np.log(2)*10**v), "normal": lambda v: special.ndtr(v)}
data = []
for l in range(8):
    t = 0.6 + 0.45*rng.standard_normal()
    for d in doses:
        p = .5 + .5*special.expit(8*(np.log10(d)-t)); data.append((f"L{l+1}", d, rng.binomial(10, p), 10))
with open("random_thresholds_data.csv", "w") as f:
    f.write("listener,dose,correct,trials\n"); [f.write("%s,%g,%d,%d\n" % r) for r in data]
people = {}
for l, d, k, n in data: people.setdefault(l, []).append((np.log10(d), k, n))
people = [tuple(np.array(c, float) for c in zip(*p)) for p in people.values()]
X, W = np.polynomial.legendre.leggauss(600); X, W = 9*X, 9*W
def g(z, u, k, n, m, sd, s, F):
    p = np.clip(.5 + .5*F(s*(u[:,None] - m - sd*np.atleast_1d(z)[None,:])), 1e-300, 1-1e-16)
    return np.exp(k @ np.log(p) + (n-k) @ np.log1p(-p) + 40 - z*z/2)
def one(u, k, n, m, sd, s, F): return np.log(W @ g(X, u, k, n, m, sd, s, F)) - 40 - .5*np.log(2*np.pi)
def check(u, k, n, m, sd, s, F):
    v = integrate.quad(lambda z: g(z, u, k, n, m, sd, s, F)[0], -9, 9, epsabs=0, epsrel=1e-12, limit=500)[0]
    return np.log(v) - 40 - .5*np.log(2*np.pi)
def L(m, lsd, ls, F): return sum(one(*p, m, np.exp(lsd), np.exp(ls), F) for p in people)
opt = dict(xatol=1e-8, fatol=1e-11, maxiter=4000, maxfev=4000)
with open("random_thresholds.csv", "w") as f:
    f.write("shape,quantity,value\n")
    names = "threshold between_sd slope log_likelihood threshold_lo threshold_hi between_sd_lo between_sd_hi slope_lo slope_hi".split()
    for shape, F in rise.items():
        s0 = {"logistic": 8, "weibull": 2.5, "normal": 5}[shape]
        best = optimize.minimize(lambda x: -L(*x, F), [.6, np.log(.3), np.log(s0)], method="Nelder-Mead", options=opt)
        assert abs(best.fun + sum(check(*p, best.x[0], np.exp(best.x[1]), np.exp(best.x[2]), F) for p in people)) < 1e-9
        ends = []
        for j in range(3):
            def excess(v):
                x = list(best.x); free = [i for i in range(3) if i != j]
                def loss(y):
                    z = list(x); z[j] = v
                    for i, w in zip(free, y): z[i] = w
                    return -L(*z, F)
                r = optimize.minimize(loss, [x[i] for i in free], method="Nelder-Mead", options=dict(xatol=1e-6, fatol=1e-9))
                return -r.fun + best.fun + stats.chi2.ppf(.95, 1)/2
            for side in (-1, 1):
                w = .2
                while excess(best.x[j] + side*w) > 0 and w < 30: w *= 1.6
                ends.append(optimize.brentq(excess, best.x[j], best.x[j] + side*w, xtol=1e-8))
        e = [10**ends[0], 10**ends[1]] + [np.exp(v) for v in ends[2:]]
        v = [10**best.x[0], np.exp(best.x[1]), np.exp(best.x[2]), -best.fun] + e
        [f.write("%s,%s,%.10g\n" % (shape, n, x)) for n, x in zip(names, v)]; f.flush()
