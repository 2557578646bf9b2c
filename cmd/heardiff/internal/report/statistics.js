"use strict";
// Exact statistics, as the package stats of heardiff computes them; the tests hold them against its reference tables. Tails are
// natural logarithms, so that none is too small to be a number.

// stirlingError is ln n! less √(2πn)·(n/e)^n, and deviance x·ln(x/m) + m − x. ref: C. Loader (2000), the saddle-point form.
function stirlingError(n) {
  let climbed = 0;
  for (; n < 15; n++) climbed += (n + 0.5) * Math.log1p(1 / n) - 1;
  const s = 1 / (n * n);
  return climbed + (1 / 12 - (1 / 360 - (1 / 1260 - (1 / 1680 - s / 1188) * s) * s) * s) / n;
}
function deviance(x, m) {
  if (!(Math.abs(x - m) < 0.1 * (x + m))) return x * Math.log(x / m) + m - x;
  let v = (x - m) / (x + m), sum = (x - m) * v, term = 2 * x * v;
  v *= v;
  for (let j = 3; ; j += 2) {
    term *= v;
    const next = sum + term / j;
    if (next === sum) return sum;
    sum = next;
  }
}
// lnPoint is ln P(X = k) of n trials at p.
function lnPoint(k, n, p) {
  if (k < 0 || k > n) return -Infinity;
  if (k === 0) return n * Math.log1p(-p);
  if (k === n) return n * Math.log(p);
  const m = n - k, core = stirlingError(n) - stirlingError(k) - stirlingError(m) - deviance(k, n * p) - deviance(m, n * (1 - p));
  return core - 0.5 * (Math.log(2 * Math.PI) + Math.log(k) + Math.log(m / n));
}
const ln1mExp = l => l > -Math.LN2 ? Math.log(-Math.expm1(l)) : Math.log1p(-Math.exp(l));
const lnAdd = (a, b) => a === -Infinity ? b : b === -Infinity ? a : Math.max(a, b) + Math.log1p(Math.exp(-Math.abs(a - b)));

// lnUpper is ln P(X ≥ k), lnLower ln P(X ≤ k): the smaller tail is summed, from its largest term outwards.
function lnUpper(k, n, p) {
  if (k <= 0) return 0;
  if (k > n || p <= 0) return -Infinity;
  if (p >= 1) return 0;
  if (k <= n * p) return ln1mExp(lnUpper(n - k + 1, n, 1 - p));
  const odds = p / (1 - p);
  let sum = 0, term = 1;
  for (let j = k; j <= n && term > sum * 1e-18; j++) {
    sum += term;
    term *= (n - j) / (j + 1) * odds;
  }
  return Math.min(0, lnPoint(k, n, p) + Math.log(sum));
}
const lnLower = (k, n, p) => lnUpper(n - k, n, 1 - p);
const tail = (k, n, p) => Math.exp(lnUpper(k, n, p));

// root is the x of [lo, hi] at which above turns true.
function root(lo, hi, above, steps = 200) {
  for (let i = 0; i < steps && hi - lo > 1e-16 * hi; i++) {
    const mid = (lo + hi) / 2;
    if (above(mid)) hi = mid;
    else lo = mid;
  }
  return (lo + hi) / 2;
}
// first is the smallest whole number of [lo, hi] for which ok holds, ok being true from some point; hi + 1 if none.
function first(lo, hi, ok) {
  while (lo <= hi) {
    const mid = lo + Math.floor((hi - lo) / 2);
    if (ok(mid)) hi = mid - 1;
    else lo = mid + 1;
  }
  return lo;
}
// upperLimit and lowerLimit are Clopper and Pearson's one-sided limits, interval the two-sided one.
const upperLimit = (k, n, confidence) => k === n ? 1 : root(0, 1, p => lnLower(k, n, p) <= Math.log1p(-confidence));
const lowerLimit = (k, n, confidence) => k === 0 ? 0 : root(0, 1, p => lnUpper(k, n, p) >= Math.log1p(-confidence));
const interval = (k, n, confidence) => [lowerLimit(k, n, (1 + confidence) / 2), upperLimit(k, n, (1 + confidence) / 2)];

const slack = 1e-11; // of a tail that equals a level exactly
// critical is the smallest count of n that reaches the level, n + 1 where none does; mostRulingOut the largest that rules out p.
const critical = (n, chance, alpha) => first(0, n, k => lnUpper(k, n, chance) <= Math.log(alpha) + slack);
const mostRulingOut = (n, p, lnLevel) => first(0, n, k => lnLower(k, n, p) > lnLevel + slack) - 1;
const discriminators = (p, chance) => Math.max(0, (p - chance) / (1 - chance));
const fromDiscriminators = (pd, chance) => chance + (1 - chance) * pd;

// Tables of two answers: m[right][said]. Hits are the second answer said where it was right.
const pairsOf = m => m.length === 2 ? {hits: m[1][1], misses: m[1][0], alarms: m[0][1], rejections: m[0][0]} : {hits: 0, misses: 0, alarms: 0, rejections: 0};
const bothKinds = t => t.hits + t.misses > 0 && t.alarms + t.rejections > 0;
// hypergeometric is P(hits = x), from lo on, given the margins.
function hypergeometric(t) {
  const different = t.hits + t.misses, same = t.alarms + t.rejections, said = t.hits + t.alarms, p = said / (different + same);
  const lo = Math.max(0, said - same), hi = Math.min(different, said), ln = [];
  for (let x = lo; x <= hi; x++) ln.push(p === 0 || p === 1 ? 0 : lnPoint(x, different, p) + lnPoint(said - x, same, p) - lnPoint(said, different + same, p));
  return {lo, ln};
}
// conditional is ln of the exact one-sided p of the hits of one table or more, given the margins of each (Fisher's test).
function conditional(tables) {
  let seen = 0, all = [0];
  for (const t of tables) {
    const {lo, ln} = hypergeometric(t), next = new Array(all.length + ln.length - 1).fill(-Infinity);
    seen += t.hits - lo;
    all.forEach((a, i) => ln.forEach((b, k) => { next[i + k] = lnAdd(next[i + k], a + b); }));
    all = next;
  }
  return Math.min(0, all.slice(seen).reduceRight(lnAdd, -Infinity));
}
const fisher = ([a, b, c, d]) => Math.exp(conditional([{rejections: a, alarms: b, misses: c, hits: d}]));
// fewHits is ln P(hits ≤ those seen), given the margins.
const fewHits = t => { const {lo, ln} = hypergeometric(t); return Math.min(0, ln.slice(0, t.hits - lo + 1).reduce(lnAdd, -Infinity)); };
// pairsUpper bounds the proportion of discriminators: the hit rate's upper limit less the false-alarm rate's lower one.
function pairsUpper(t, confidence) {
  const each = (1 + confidence) / 2;
  return Math.min(1, Math.max(0, upperLimit(t.hits, t.hits + t.misses, each) - lowerLimit(t.alarms, t.alarms + t.rejections, each)));
}

// evidenceAbove is ln of the Bayes factor of p uniform between chance and 1 against chance; evidenceBelow that of p uniform
// between chance and limit against limit.
const evidenceAbove = (k, n, chance) => lnLower(k, n + 1, chance) - Math.log1p(-chance) - Math.log(n + 1) - lnPoint(k, n, chance);
function evidenceBelow(k, n, chance, limit) {
  const aboveChance = lnLower(k, n + 1, chance), aboveLimit = lnLower(k, n + 1, limit);
  if (aboveChance <= aboveLimit) return -Infinity;
  return aboveChance + ln1mExp(aboveLimit - aboveChance) - Math.log(n + 1) - lnPoint(k, n, limit) - Math.log(limit - chance);
}
// guessesReach reports whether k right answers over trials of several chances come by guessing with probability alpha at most.
function guessesReach(k, all, alpha) {
  if (all.length === 1) return k >= critical(all[0].trials, all[0].chance, alpha);
  let right = [1];
  for (const g of all) {
    const next = new Array(right.length + g.trials).fill(0);
    for (let i = 0; i <= g.trials; i++) right.forEach((q, j) => { next[i + j] += Math.exp(lnPoint(i, g.trials, g.chance)) * q; });
    right = next;
  }
  return right.slice(k).reduceRight((s, p) => s + p, 0) <= alpha * (1 + slack);
}

// Sequential plans: what sessions do at p, look by look. looks is the plan's.
function course(looks, p) {
  let from = 0, chance = [1], n = 0, heard = 0, ruledOut = 0;
  looks.trials.forEach((until, i) => {
    for (; n < until; n++) {
      chance.push(0);
      for (let k = chance.length - 1; k > 0; k--) chance[k] = chance[k] * (1 - p) + chance[k - 1] * p;
      chance[0] *= 1 - p;
    }
    const hi = Math.min(Math.max(looks.heard_at[i] - from, 0), chance.length), lo = Math.min(Math.max(looks.ruled_out_at[i] + 1 - from, 0), hi);
    heard += chance.slice(hi).reduce((s, v) => s + v, 0);
    ruledOut += chance.slice(0, lo).reduce((s, v) => s + v, 0);
    chance = chance.slice(lo, hi);
    from += lo;
  });
  return {heard, ruledOut};
}
// stoppedP is ln of the exact p of a session that stopped at 'heard' with k of n right.
function stoppedP(looks, k, n, p) {
  const i = looks.trials.findIndex((at, i) => at === n && k >= looks.heard_at[i]);
  if (i < 0) return 0;
  const heard = looks.heard_at.slice(0, i + 1);
  heard[i] = k;
  return Math.log(course({trials: looks.trials.slice(0, i + 1), heard_at: heard, ruled_out_at: looks.ruled_out_at.slice(0, i + 1)}, p).heard);
}
