"""Deals the order of a session again, from its seed alone, without heardiff: python3 redeal.py SEED_HEX DESIGN TRIALS

For a plan of one scored comparison in independent, interleaved order, as the comments of order.go and of the designs describe it.

python3 redeal.py --threshold PLAN.json SEED_HEX ANSWER… deals a threshold run, whose plan is given whole, from what was answered ("void"
for a trial that was void): a line a trial, with its comparison and what is right, as the comments of threshold.go and of stats describe
it. Practice, if any, is of one comparison.
"""
import hashlib
import hmac
import json
import math
import sys


class Stream:
    def __init__(self, seed, name):
        self.seed, self.name, self.block, self.rest = seed, name.encode(), 0, b""

    def number(self):
        while len(self.rest) < 4:
            mac = hmac.new(self.seed, self.name + self.block.to_bytes(8, "big"), hashlib.sha256)
            self.rest += mac.digest()
            self.block += 1
        head, self.rest = self.rest[:4], self.rest[4:]
        return int.from_bytes(head, "big")

    def below(self, n):
        limit = 2**32 // n * n
        while True:
            v = self.number()
            if v < limit:
                return v % n


# What is right under each assignment that may be hidden, in the order in which the design's file lists them. Of a triangle the
# six orders of ISO 4120 are ABB, AAB, ABA, BAA, BBA and BAB; of a pair of intervals AB and BA, and B is asked for.
POSSIBLE = {
    "abx": ["a", "b"],
    "same-different": ["same", "same", "different", "different"],
    "triangle": [str(1 + next(i for i in range(3) if order.count(order[i]) == 1)) for order in ("ABB", "AAB", "ABA", "BAA", "BBA", "BAB")],
    "two-interval": [str(1 + order.index("B")) for order in ("AB", "BA")],
}


def deal(seed, design, n):
    possible = POSSIBLE[design]
    draw = Stream(seed, "order")
    trials = [possible[draw.below(len(possible))] for _ in range(n)]
    for i in range(n - 1, 0, -1):
        j = draw.below(i + 1)
        trials[i], trials[j] = trials[j], trials[i]
    return trials


def normalised(weight):
    total = sum(weight)
    return [w / total for w in weight]


class Track:
    def __init__(self, plan, track, chance):
        self.how, self.limit, self.guess = plan["threshold"], track["limit"], chance
        self.names = [r["comparison"] for r in track["rungs"]]
        self.levels = [r["level_db"] for r in track["rungs"]]
        self.given, self.trials, self.settled = [0] * len(self.names), 0, False
        prior = track["prior"]
        steps = round((prior["high_db"] - prior["low_db"]) / prior["step_db"])
        weights = [prior.get(k) or [1] * len(prior[of]) for k, of in (("slope_weights", "slopes"), ("lapse_weights", "lapses"))]
        self.step, self.thresholds = prior["step_db"], [prior["low_db"] + i * prior["step_db"] for i in range(steps + 1)]
        self.cells = [(t, s, l) for t in self.thresholds for s in prior["slopes"] for l in prior["lapses"]]
        self.weight = [a * b for _ in self.thresholds for a in weights[0] for b in weights[1]]
        cautious = prior.get("cautious_slope_weights")
        lapses = prior.get("cautious_lapse_weights") or [1] * len(prior["lapses"])
        self.caution = cautious and [c * d / (a * b) for c, a in zip(cautious, weights[0]) for d, b in zip(lapses, weights[1])]
        self.weight = normalised(self.weight)
        self.chances = [[chance + (1 - chance - l) * (1 - 2 ** -(10 ** (s * (level - t) / 20))) for t, s, l in self.cells] for level in self.levels]
        self.rung, self.row, self.direction, self.reversals = len(self.levels) - 1, 0, 0, 0

    def left(self):
        return 0 if self.settled else self.limit - self.trials

    def next(self, draw):
        if self.how["procedure"] == "staircase":
            return self.rung
        if self.how["procedure"] == "constant":
            least = [i for i, n in enumerate(self.given) if n == min(self.given)]
            return least[draw.below(len(least))]
        plain = self.how.get("plain_every", 0)
        if plain and draw.below(plain) == 0:
            return len(self.levels) - 1
        mean = sum(w * t for w, (t, _, _) in zip(self.weight, self.cells))
        lever = [w * (t - mean) for w, (t, _, _) in zip(self.weight, self.cells)]
        square = sum(v * (t - mean) for v, (t, _, _) in zip(lever, self.cells))
        best, least = 0, math.inf
        for i, chances in enumerate(self.chances):
            right = sum(w * c for w, c in zip(self.weight, chances))
            moved = sum(v * c for v, c in zip(lever, chances))
            variance = square - moved**2 / right - moved**2 / (1 - right)
            if variance < least - 1e-9 * square:
                best, least = i, variance
        return best

    def after(self, i, correct):
        self.weight = [w * (c if correct else 1 - c) for w, c in zip(self.weight, self.chances[i])]
        self.weight = normalised(self.weight)
        self.given[i] += 1
        self.trials += 1
        self.climb(correct)
        self.settled = self.trials >= 30 and 0 < self.half_width() <= self.how["within_db"]

    def climb(self, correct):
        moved = 0
        if not correct:
            moved, self.row = 1, 0
        else:
            self.row += 1
            if self.row == self.how.get("down"):
                moved, self.row = -1, 0
        if moved:
            self.reversals += self.direction not in (0, moved)
            steps = self.how["steps"]
            self.direction, by = moved, steps[min(self.reversals, len(steps) - 1)]
            self.rung = min(max(self.rung + moved * by, 0), len(self.levels) - 1)

    def half_width(self):
        low, high = self.interval(self.weight)
        if self.caution:
            other = self.interval(normalised([w * self.caution[i % len(self.caution)] for i, w in enumerate(self.weight)]))
            low, high = min(low, other[0]), max(high, other[1])
        return (high - low) / 2

    def interval(self, weight):
        each = len(self.cells) // len(self.thresholds)
        marginal = [sum(weight[i:i + each]) for i in range(0, len(weight), each)]
        if max(marginal[0], marginal[-1]) >= 0.0025:
            return -math.inf, math.inf

        def quantile(q):
            for t, w in zip(self.thresholds, marginal):
                if w >= q:
                    return t - self.step / 2 + self.step * q / w
                q -= w

        return quantile(0.025), quantile(0.975)


def practice(plan, seed):
    of = [c for c in plan["comparisons"] if c["kind"] == "practice"]
    return [(c["name"], right) for c in of for right in deal(seed, plan["design"], c["trials"])]


def threshold(plan, seed, answers):
    chance = 1 / len(set(POSSIBLE[plan["design"]]))
    tracks = [Track(plan, t, chance) for t in plan["threshold"]["tracks"]]
    controls = {c["name"]: c["trials"] for c in plan["comparisons"] if c["kind"].endswith("control")}
    dealt = practice(plan, seed)
    said = iter(answers[len(dealt):])
    n = 0
    while any(t.left() for t in tracks):
        draw = Stream(seed, "threshold %d" % n)
        n += 1
        at, what, track = draw.below(sum(t.left() for t in tracks) + sum(controls.values())), None, None
        for t in tracks:
            if what is None and at < t.left():
                track, rung = t, t.next(draw)
                what = t.names[rung]
            at -= t.left()
        for name, left in controls.items():
            if what is None and at < left:
                what = name
            at -= left
        right = POSSIBLE[plan["design"]][draw.below(len(POSSIBLE[plan["design"]]))]
        dealt.append((what, right))
        answer = next(said)
        if answer == "void":
            continue
        if track:
            track.after(rung, answer == right)
        else:
            controls[what] -= 1
    return dealt


if __name__ == "__main__":
    if sys.argv[1] == "--threshold":
        with open(sys.argv[2]) as file:
            for what, right in threshold(json.load(file), bytes.fromhex(sys.argv[3]), sys.argv[4:]):
                print(what + "=" + right)
    else:
        print(" ".join(deal(bytes.fromhex(sys.argv[1]), sys.argv[2], int(sys.argv[3]))))
