"use strict";
// Threshold runs, as trials/threshold.go and stats/track.go deal them: the next dose follows from the answers and the seed.

class Track {
  constructor(how, track, guess) {
    const prior = track.prior, steps = Math.round((prior.high_db - prior.low_db) / prior.step_db);
    Object.assign(this, {how, limit: track.limit, step: prior.step_db, trials: 0, settled: false, row: 0, direction: 0, reversals: 0});
    this.names = track.rungs.map(r => r.comparison);
    this.given = track.rungs.map(() => 0);
    this.rung = this.names.length - 1;
    this.thresholds = Array.from({length: steps + 1}, (_, i) => prior.low_db + i * prior.step_db);
    this.each = prior.slopes.length * prior.lapses.length;
    const cells = this.thresholds.length * this.each, weight = new Float64Array(cells);
    this.chances = track.rungs.map(() => new Float64Array(cells));
    let i = 0;
    for (const t of this.thresholds) prior.slopes.forEach((s, a) => prior.lapses.forEach((l, b) => {
      weight[i] = (prior.slope_weights ? prior.slope_weights[a] : 1) * (prior.lapse_weights ? prior.lapse_weights[b] : 1);
      track.rungs.forEach((r, k) => { this.chances[k][i] = guess + (1 - guess - l) * -Math.expm1(-Math.LN2 * 10 ** (s * (r.level_db - t) / 20)); });
      i++;
    }));
    this.weight = this.normalised(weight);
    // How much more weight the cautious prior, if any, gives each slope and lapse rate than the prior does.
    this.caution = prior.cautious_slope_weights && Float64Array.from({length: this.each}, (_, i) => {
      const lapse = prior.cautious_lapse_weights ? prior.cautious_lapse_weights[i % prior.lapses.length] : 1;
      return prior.cautious_slope_weights[Math.floor(i / prior.lapses.length)] * lapse / weight[i];
    });
  }

  normalised(weight) {
    const sum = weight.reduce((a, b) => a + b, 0);
    return weight.map(w => w / sum);
  }

  left() { return this.settled ? 0 : this.limit - this.trials; }

  next(below) {
    if (this.how.procedure === "staircase") return this.rung;
    if (this.how.procedure === "constant") {
      const least = Math.min(...this.given), open = [...this.given.keys()].filter(i => this.given[i] === least);
      return open[below(open.length)];
    }
    const plain = this.how.plain_every ?? 0;
    return plain && below(plain) === 0 ? this.names.length - 1 : this.sharpest();
  }

  // sharpest is the rung after which the threshold's expected variance is smallest; of equal ones the lowest.
  sharpest() {
    const lever = new Float64Array(this.weight.length);
    let mean = 0, square = 0, best = 0, least = Infinity;
    this.weight.forEach((w, i) => { mean += w * this.thresholds[Math.floor(i / this.each)]; });
    this.weight.forEach((w, i) => {
      const u = this.thresholds[Math.floor(i / this.each)] - mean;
      lever[i] = w * u;
      square += lever[i] * u;
    });
    this.chances.forEach((chance, k) => {
      let right = 0, moved = 0;
      for (let i = 0; i < chance.length; i++) { right += this.weight[i] * chance[i]; moved += lever[i] * chance[i]; }
      const variance = square - moved * moved / right - moved * moved / (1 - right);
      if (variance < least - 1e-9 * square) { best = k; least = variance; }
    });
    return best;
  }

  after(rung, correct) {
    this.weight = this.normalised(this.weight.map((w, i) => w * (correct ? this.chances[rung][i] : 1 - this.chances[rung][i])));
    this.given[rung]++;
    this.trials++;
    this.move(correct);
    const wide = this.how.within_db > 0 && this.trials >= 30 ? this.halfWidth() : Infinity;
    this.settled = wide <= this.how.within_db;
  }

  // move is a step of the staircase.
  move(correct) {
    if (this.how.procedure !== "staircase") return;
    let moved = 0;
    if (!correct) { moved = 1; this.row = 0; } else if (++this.row === this.how.down) { moved = -1; this.row = 0; }
    if (!moved) return;
    if (this.direction && this.direction !== moved) this.reversals++;
    this.direction = moved;
    this.rung = Math.min(Math.max(this.rung + moved * this.how.steps[Math.min(this.reversals, this.how.steps.length - 1)], 0), this.names.length - 1);
  }

  // halfWidth is half of the interval that reaches as far as under either prior; infinite where it has no end.
  halfWidth() {
    let [low, high] = this.interval(this.weight);
    if (this.caution) {
      const other = this.interval(this.normalised(this.weight.map((w, i) => w * this.caution[i % this.each])));
      low = Math.min(low, other[0]);
      high = Math.max(high, other[1]);
    }
    return (high - low) / 2;
  }

  interval(weight) {
    const marginal = this.thresholds.map(() => 0);
    weight.forEach((w, i) => { marginal[Math.floor(i / this.each)] += w; });
    if (Math.max(marginal[0], marginal[marginal.length - 1]) >= 0.0025) return [-Infinity, Infinity];
    const quantile = q => {
      for (let i = 0; i < marginal.length; i++) {
        if (marginal[i] >= q) return this.thresholds[i] - this.step / 2 + this.step * q / marginal[i];
        q -= marginal[i];
      }
      return Infinity;
    };
    return [quantile(0.025), quantile(0.975)];
  }
}

class Climb {
  constructor(plan, design) {
    this.plan = plan;
    this.design = design;
    this.tracks = plan.threshold.tracks.map(t => new Track(plan.threshold, t, design.chance));
    this.controls = plan.comparisons.map(c => c.kind.endsWith("control") ? c.trials : 0);
    this.dealt = 0;
  }

  // next deals the trial that is due after the practice, null where every track is done: from an urn with a ball for each trial that a track,
  // or a control, may still have.
  async next(seed) {
    const open = this.tracks.reduce((n, t) => n + t.left(), 0);
    if (!open) return null;
    const below = await stream(seed, `threshold ${this.dealt++}`, 8);
    let at = below(open + this.controls.reduce((a, b) => a + b, 0));
    const comparison = this.draw(at, below);
    return {comparison, right: this.design.right[below(this.design.right.length)]};
  }

  draw(at, below) {
    for (const t of this.tracks) {
      if (at < t.left()) {
        const name = t.names[t.next(below)];
        return this.plan.comparisons.findIndex(c => c.name === name);
      }
      at -= t.left();
    }
    return this.controls.findIndex(n => at < n || (at -= n, false));
  }

  answered(comparison, correct) {
    if (this.controls[comparison] > 0) { this.controls[comparison]--; return; }
    const name = this.plan.comparisons[comparison].name;
    for (const t of this.tracks) if (t.names.includes(name)) t.after(t.names.indexOf(name), correct);
  }
}
