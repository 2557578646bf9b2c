"use strict";
// Verdicts: what the package link of heardiff claims of a study, from what each session came to. Its documentation says why.

const minKept = 0.002, maxKept = 0.1, keptBesideFisher = 0.02, keptBesideSum = 0.05, leakAlpha = 0.01, attentive = 0.95;
const keep = (size, alpha) => Math.min(maxKept, Math.max(minKept, 1 - size / alpha));
const staked = (size, alpha) => size > alpha ? maxKept : Math.min(maxKept, Math.max(1e-9, 1 - size / alpha));

// control counts the trials of known answer of sessions.
function control(sessions, kind) {
  const c = {correct: 0, asked: []};
  for (const s of sessions) {
    let trials = 0;
    s.plan.comparisons.forEach((of, i) => {
      if (of.kind !== kind) return;
      const {n, k} = totals(s.counts[i]);
      trials += n;
      c.correct += k;
    });
    if (trials) c.asked.push({trials, chance: designs[s.plan.design].chance});
  }
  c.trials = c.asked.reduce((n, g) => n + g.trials, 0);
  const byChance = new Map();
  for (const g of c.asked) byChance.set(g.chance, (byChance.get(g.chance) || 0) + g.trials);
  c.asked = [...byChance].map(([chance, trials]) => ({chance, trials}));
  return c;
}
const passed = (c, alpha) => c.trials > 0 && guessesReach(c.correct, c.asked, alpha);
const missed = (c, alpha) => c.trials > 0 && !passed(c, alpha) && guessesReach(c.trials, c.asked, alpha) && lnLower(c.correct, c.trials, attentive) <= Math.log(alpha);

// sitting is what one session adds to a row: its answers to some comparisons of its plan, and how they are tested.
function sitting(s, which, study) {
  const {plan} = s, design = designs[plan.design], m = design.answers.map(() => design.answers.map(() => 0));
  for (const i of which) addCounts(m, s.counts[i]);
  const {n, k} = totals(m), table = pairsOf(m), chance = design.chance, smallest = fromDiscriminators(plan.smallest_effect, chance);
  const planned = s.gaveUp ? Math.max(n, which.reduce((sum, i) => sum + plan.comparisons[i].trials, 0)) : n;
  const out = {k, n, planned, whole: n >= planned, table, smallest, listener: s.listener, plan: plan.id, rates: design.rates, looks: plan.looks,
    inattentive: missed(control([s], "positive control"), study.alpha)};
  if (plan.looks) return sequential(out, s, plan, chance, study);
  const balanced = plan.order === "balanced";
  out.tested = design.rates || (balanced && bothKinds(table));
  if (!out.tested) return out;
  out.dealt = balanced;
  out.up = {kept: keptBesideFisher, lnP: out.whole && bothKinds(table) ? conditional([table]) : 0};
  if (design.rates) out.down = {kept: keptBesideFisher, passed: (limit, lnLevel) => out.whole && bothKinds(table) && pairsUpper(table, 1 - Math.exp(lnLevel)) < discriminators(limit, chance)};
  return out;
}

// sequential sets the boundaries of a sequential plan, each at its exact size.
function sequential(out, s, plan, chance, study) {
  const guessing = course(plan.looks, chance).heard, missing = course(plan.looks, out.smallest).ruledOut;
  let n = 0, k = 0, stopped = "";
  plan.comparisons.forEach((c, i) => { if (c.kind === "scored") { const t = totals(s.counts[i]); n += t.n; k += t.k; } });
  plan.looks.trials.forEach((at, i) => { if (at === n) stopped = k >= plan.looks.heard_at[i] ? "heard" : k <= plan.looks.ruled_out_at[i] ? "ruled out" : stopped; });
  out.tested = designs[plan.design].rates;
  out.up = {kept: staked(guessing, study.listenerAlpha), lnP: stopped === "heard" ? stoppedP(plan.looks, out.k, out.n, chance) : 0};
  out.down = {kept: staked(missing, study.alpha), passed: (limit, lnLevel) => stopped === "ruled out" && limit >= out.smallest * (1 - 1e-12) && Math.log(missing) <= lnLevel + 1e-9};
  return out;
}

// dealtEvidence is ln of the evidence of a balanced deal, given its margins.
function dealtEvidence(s) {
  const {lo, ln} = hypergeometric(s.table), places = 32;
  let sum = -Infinity;
  for (let i = 0; i < places; i++) {
    const p = 0.5 + 0.5 * (i + 0.5) / places, odds = 2 * Math.log(p / (1 - p));
    sum = lnAdd(sum, s.table.hits * odds - ln.reduce((all, l, k) => lnAdd(all, l + (lo + k) * odds), -Infinity));
  }
  const e = sum - Math.log(places);
  return s.whole ? e : Math.min(0, e);
}

// cumulated turns the evidence of counts into that of each further sitting.
function cumulated(ln) {
  let k = 0, n = 0, before = 0;
  return s => {
    k += s.k; n += s.n;
    const now = ln(k, n), added = now - before;
    before = now;
    return added;
  };
}
function upward(all, chance, alpha) {
  const evidence = cumulated((k, n) => evidenceAbove(k, n, chance));
  return all.map(s => {
    const step = {lnEvidence: s.dealt ? dealtEvidence(s) : evidence(s)};
    if (s.up) return {...step, ...s.up};
    const least = critical(s.planned, chance, alpha * (1 - minKept));
    step.kept = keep(least > s.planned ? 0 : tail(least, s.planned, chance), alpha);
    if (s.whole) return {...step, lnP: lnUpper(s.k, s.planned, chance)};
    step.lnP = 0;
    step.left = lnLevel => {
      const need = critical(s.planned, chance, Math.exp(lnLevel));
      return need > s.planned ? 0 : tail(need - s.k, s.planned - s.n, chance);
    };
    return step;
  });
}
function keptBelow(s, alpha) {
  if (s.down) return s.down.kept;
  const most = mostRulingOut(s.planned, s.smallest, Math.log(alpha * (1 - minKept)));
  return keep(Math.exp(most < 0 ? -Infinity : lnLower(most, s.planned, s.smallest)), alpha);
}
function downward(all, kept, chance, limit) {
  const evidence = cumulated((k, n) => evidenceBelow(k, n, chance, limit));
  return all.map((s, i) => {
    const step = {lnEvidence: evidence(s), kept: kept[i], lnP: 0};
    if (s.dealt && !s.whole) step.lnEvidence = Math.min(0, step.lnEvidence);
    if (s.down) return {...step, passed: lnLevel => s.down.passed(limit, lnLevel)};
    if (s.whole) return {...step, lnP: lnLower(s.k, s.planned, limit)};
    step.left = lnLevel => {
      const most = mostRulingOut(s.planned, limit, lnLevel);
      return most < s.k ? 0 : Math.exp(lnLower(most - s.k, s.planned - s.n, limit));
    };
    return step;
  });
}
// rejects follows the risk that is left of a level, session by session.
function rejects(steps, lnAlpha) {
  let v = lnAlpha;
  for (const s of steps) {
    const level = v + Math.log1p(-s.kept);
    if (s.passed ? s.passed(level) : s.lnP <= level + slack) return true;
    v += Math.log(s.kept) + s.lnEvidence;
    if (s.left) v = lnAdd(v, Math.log(s.left(level)));
    if (v >= -slack) return true;
  }
  return false;
}
function anytime(steps) {
  if (steps.some(s => s.left)) return rejects(steps, -2000) ? -2000 : root2(-2000, 0, mid => rejects(steps, mid));
  let best = 0, kept = 0;
  for (const s of steps) {
    best = Math.min(best, s.lnP - Math.log1p(-s.kept) - kept);
    kept += Math.log(s.kept) + s.lnEvidence;
    best = Math.min(best, -kept);
  }
  return best;
}
// root2 halves a range sixty times, and returns its upper end.
function root2(lo, hi, above, steps = 60) {
  for (let i = 0; i < steps; i++) { const mid = (lo + hi) / 2; if (above(mid)) hi = mid; else lo = mid; }
  return hi;
}

const keptBesidePanel = (all, planned) => planned < 1 || !all.length || all[0].looks ? 1 : keptBesideSum;
function panelOf(all, planned) {
  if (keptBesidePanel(all, planned) === 1) return null;
  const panel = [], seen = new Set();
  for (const s of all) if (panel.length < planned && !seen.has(s.listener) && s.plan === all[0].plan) { seen.add(s.listener); panel.push(s); }
  return panel.length < planned ? null : panel;
}
function sumUp(panel, chance) {
  const tables = panel.filter(s => s.tested).map(s => s.table), k = panel.reduce((n, s) => n + s.k, 0), n = panel.reduce((n, s) => n + s.planned, 0);
  if (panel.some(s => s.tested && (!s.whole || !bothKinds(s.table)))) return 0;
  if (tables.length) return tables.length === panel.length ? conditional(tables) : 0;
  return lnUpper(k, n, chance);
}
// together is ln of the p of several listeners' sittings.
function together(all, planned, chance) {
  const kept = keptBesidePanel(all, planned), panel = panelOf(all, planned), evidence = cumulated((k, n) => evidenceAbove(k, n, chance));
  let ln = 0, most = -Infinity;
  for (const s of all) most = Math.max(most, ln += s.dealt ? dealtEvidence(s) : evidence(s));
  return Math.min(panel ? Math.min(0, sumUp(panel, chance) - Math.log1p(-kept)) : 0, -Math.log(kept) - most);
}
// boundOne and boundTogether bound p_d from above.
function boundOne(all, chance, alpha) {
  const sat = all.filter(s => !s.inattentive), kept = sat.map(s => keptBelow(s, alpha));
  return sat.length ? discriminators(root2(chance, 1, p => rejects(downward(sat, kept, chance, p), Math.log(alpha)), 40), chance) : 1;
}
function boundTogether(all, planned, chance, alpha) {
  const kept = keptBesidePanel(all, planned), panel = panelOf(all, planned), sum = f => all.reduce((n, s) => n + f(s), 0);
  const dealt = sum(s => s.dealt ? s.planned - s.n : 0), k = sum(s => s.k) + dealt, n = sum(s => s.n) + dealt;
  const evidence = discriminators(root2(chance, 1, p => evidenceBelow(k, n, chance, p) >= -Math.log(kept * alpha), 40), chance);
  return Math.min(panel ? boundPanel(panel, chance, (1 - kept) * alpha) : 1, evidence);
}
function boundPanel(panel, chance, alpha) {
  const k = panel.reduce((n, s) => n + s.k + s.planned - s.n, 0), n = panel.reduce((n, s) => n + s.planned, 0);
  if (!panel[0].rates) return discriminators(upperLimit(k, n, 1 - alpha), chance);
  const table = {};
  for (const f of ["hits", "misses", "alarms", "rejections"]) table[f] = panel.reduce((n, s) => n + s.table[f], 0);
  return panel.every(s => s.whole) && bothKinds(table) ? pairsUpper(table, 1 - alpha) : 1;
}

// holm adjusts the claims of a question, each with a share of its risk; worst is what settles all that were planned.
function holm(question, claims) {
  const order = [...claims].sort((a, b) => a.lnP - Math.log(a.share) - (b.lnP - Math.log(b.share)));
  let left = 1, most = -Infinity;
  for (const c of order) {
    most = Math.max(most, c.lnP - Math.log(c.share) + Math.log(Math.max(left, c.share)));
    c.adjusted = Math.min(0, most);
    left -= c.share;
  }
  question.worst = question.complete ? Math.max(-Infinity, ...claims.filter(c => c.planned).map(c => c.adjusted)) : Infinity;
}
// adjust shares the risk among the questions: one whose planned claims are all rejected passes its own on.
function adjust(questions, claims) {
  questions.forEach((q, i) => holm(q, claims.filter(c => c.question === i)));
  const planned = questions.map((q, i) => ({...q, i})).filter(q => q.planned).sort((a, b) => a.worst - b.worst);
  const share = j => planned[0].share / (1 - j * planned[0].share);
  questions.forEach((q, i) => { if (!q.planned) for (const c of claims) if (c.question === i) c.adjusted = Math.min(0, c.adjusted - Math.log(q.share)); });
  planned.forEach((q, at) => {
    for (const c of claims) if (c.question === q.i) {
      let best = 0, reached = -Infinity;
      for (let j = 0; j <= at; j++) {
        best = Math.min(best, Math.max(reached, c.adjusted - Math.log(share(j))));
        reached = Math.max(reached, planned[j].worst - Math.log(share(j)));
      }
      c.adjusted = best;
    }
  });
}

// judge gives each row p over the study, the bound of p_d and its verdict. rows are the lines of "counted", each with its claim.
function judge(rows, sessions, study) {
  const leaking = new Set(), by = new Map();
  for (const s of sessions) by.set(s.listener, [...by.get(s.listener) || [], s]);
  for (const [who, sat] of by) if (passed(control(sat, "negative control"), leakAlpha)) leaking.add(who);
  const judged = rows.map(row => {
    const all = (row.parts || []).map(([s, which]) => sitting(sessions[s], which, study)).filter(s => s.n > 0), chance = designs[row.design].chance;
    const one = row.claim.kind === "listener", leak = one && all.length > 0 && leaking.has(all[0].listener);
    const marked = (row.parts || []).some(([s]) => sessions[s].marks?.some(m => m.voids));
    const out = {...row.claim, all, chance, leak, marked, lnP: 0, upper: 1};
    if (leak || !all.length) return out;
    out.lnP = !one ? together(all, out.panel, chance) : anytime(upward(all, chance, study.alpha * study.questions[out.question].share * out.share));
    if (!row.unlisted) out.upper = one ? boundOne(all, chance, study.alpha) : boundTogether(all, out.panel, chance, study.alpha);
    return out;
  });
  adjust(study.questions, judged.filter(r => r.share > 0));
  for (const r of judged) {
    const only = r.share > 0 ? r : judged.find(o => o.question === r.question && o.counted);
    [r.lnStudy, r.upper] = [only.adjusted, only.upper];
  }
  return judged;
}

// verdictOf is the verdict of a judged row; numbers is what the page carries of its measured figures, study what rows are judged by.
function verdictOf(r, row, sum, numbers, study) {
  const {alpha} = study, design = designs[row.design], {n, k} = totals(sum), table = pairsOf(sum);
  const below = design.rates && bothKinds(table) ? fewHits(table) : lnLower(k, n, r.chance);
  let v = "undecided";
  if (r.lnStudy <= Math.log(alpha) + 1e-8 && r.lnStudy < 0) v = "heard";
  else if (n && !(design.rates && !bothKinds(table)) && !(below <= Math.log(alpha / 2) + 1e-8 && !r.all.some(s => s.looks)) && r.upper < r.smallest * (1 + 1e-9)) v = "ruled out";
  if (r.leak || !r.all.length) return "void";
  if (v === "heard") return r.marked || audibleAlone(numbers) ? "void" : v;
  if (r.kind === "listener" && r.all.every(s => s.inattentive)) return "void";
  return v === "ruled out" && covered(numbers, study.replay || []) ? "undecided" : v;
}

// audibleAlone reports whether the chains differ in level, timing or frequency response so much that this would be heard by itself.
function audibleAlone(numbers) {
  const m = numbers.measured || {};
  return !numbers.treatment && (Math.abs(m.level_error_db) > 0.1 || Math.abs(m.offset_error_us) > 10 || Math.abs(m.response_max_db) >= 0.5);
}

// covered reports whether a replay chain's own jitter and noise exceed all that was measured under test, or the dose.
const doses = {dose_random_jitter_ps: "random_jitter_ps", dose_periodic_jitter_ps: "deterministic_jitter_ps", dose_noise_dbfs: "noise_a_weighted_db"};
function covered(numbers, replay) {
  const exceeds = (metric, v) => v != null && replay.some(c => c.figures[metric] >= v);
  if (numbers.treatment) return exceeds(doses[numbers.dose_metric], numbers.dose);
  const known = p => p?.a != null && p.b != null && !(p.a === 0 && p.b === 0);
  const measured = Object.values(doses).filter(m => known(numbers.measured?.[m]));
  return measured.length > 0 && measured.every(m => exceeds(m, Math.max(numbers.measured[m].a, numbers.measured[m].b)));
}
