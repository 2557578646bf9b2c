"""Deals the order of a session again, from its seed alone, without heardiff: python3 redeal.py SEED_HEX DESIGN TRIALS

For a plan of one scored comparison in independent, interleaved order, as the comments of order.go and of the designs describe it.
"""
import hashlib
import hmac
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


if __name__ == "__main__":
    print(" ".join(deal(bytes.fromhex(sys.argv[1]), sys.argv[2], int(sys.argv[3]))))
