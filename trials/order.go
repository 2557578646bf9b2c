package trials

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"slices"
)

// Seed is the secret of one session: all that is hidden follows from it. It prints as a fixed text.
type Seed [32]byte

// Format writes String whatever the verb, numeric ones included.
func (s Seed) Format(f fmt.State, _ rune) { fmt.Fprint(f, s.String()) }

// MarshalText writes String.
func (s Seed) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// String returns a fixed text: a seed is never printed by accident.
func (Seed) String() string { return "(sealed)" }

// GoString is String, for %#v.
func (Seed) GoString() string { return "(sealed)" }

// Commitment returns what is stored and shown before the first trial: SHA-256 over the seed, the plan's hash, the SHA-256
// of the JSON of the seat's study, listener and device digest (omitted if seat is nil), and the session's id. Whoever knows
// it can check, once the seed is revealed, that none of them has changed since.
func (s Seed) Commitment(session string, seat *Seat, p Plan) [32]byte {
	hash := p.Hash()
	covered := append(append([]byte{}, s[:]...), hash[:]...)
	return sha256.Sum256(append(append(covered, seat.sealed()...), session...))
}

// stream is a sequence of pseudo-random bytes that anyone can recompute from the seed: block k is
// HMAC-SHA256(seed, name ‖ k), k as eight bytes, big-endian.
type stream struct {
	seed  Seed
	name  string
	block uint64
	rest  []byte
}

func (s *stream) byte() byte {
	if len(s.rest) == 0 {
		mac := hmac.New(sha256.New, s.seed[:])
		mac.Write([]byte(s.name))
		mac.Write(binary.BigEndian.AppendUint64(nil, s.block))
		s.rest = mac.Sum(nil)
		s.block++
	}
	b := s.rest[0]
	s.rest = s.rest[1:]
	return b
}

// below returns a uniform integer in [0, n), by rejection from 32-bit numbers (four bytes, big-endian).
func (s *stream) below(n int) int {
	limit := (uint64(1) << 32) / uint64(n) * uint64(n)
	for {
		v := uint64(s.byte())<<24 | uint64(s.byte())<<16 | uint64(s.byte())<<8 | uint64(s.byte())
		if v < limit {
			return int(v % uint64(n))
		}
	}
}

func (s *stream) shuffle(n int, swap func(i, j int)) {
	for i := n - 1; i > 0; i-- {
		swap(i, s.below(i+1))
	}
}

// trial is one dealt trial.
type trial struct {
	comparison int
	hidden     *assignment
}

// String names the trial without what is hidden in it.
func (t trial) String() string { return fmt.Sprintf("trial of comparison %d", t.comparison+1) }

// GoString is String, for %#v.
func (t trial) GoString() string { return t.String() }

// deal returns the trials of a plan in the order in which they are run: practice first, then the others. All draws
// come from the stream named "order", in this sequence:
//
//  1. blocked plans only: the comparisons are shuffled;
//  2. for each comparison, what is hidden in each of its trials (see assignments);
//  3. each control, in that order, is inserted at an index drawn from 0 to the number of trials so far;
//  4. practice is shuffled;
//  5. interleaved plans only: all trials but practice are shuffled.
//
// In a threshold run only the practice is dealt in this way; for the rest see climb.next.
//
// A shuffle of n goes from i = n − 1 down to 1 and swaps i with a number drawn from 0 to i.
func deal(p Plan, seed Seed) []trial {
	draw := &stream{seed: seed, name: "order"}
	var practice, controls, rest []trial
	for _, i := range comparisonOrder(p, draw) {
		c := p.Comparisons[i]
		if p.Threshold != nil && c.Kind != Practice {
			continue
		}
		for _, a := range assignments(p, c.Trials, draw) {
			switch c.Kind {
			case Practice:
				practice = append(practice, trial{i, a})
			case Scored:
				rest = append(rest, trial{i, a})

			default:
				controls = append(controls, trial{i, a})
			}
		}
	}
	// Controls go anywhere, even in blocked plans: a block of its own would give a control away.
	for _, t := range controls {
		rest = slices.Insert(rest, draw.below(len(rest)+1), t)
	}
	draw.shuffle(len(practice), func(i, j int) { practice[i], practice[j] = practice[j], practice[i] })
	if p.Layout == Interleaved {
		draw.shuffle(len(rest), func(i, j int) { rest[i], rest[j] = rest[j], rest[i] })
	}
	return append(practice, rest...)
}

func comparisonOrder(p Plan, draw *stream) []int {
	order := make([]int, len(p.Comparisons))
	for i := range order {
		order[i] = i
	}
	if p.Layout == Blocked {
		draw.shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
	}
	return order
}

// assignments draws what is hidden in n trials of one comparison.
func assignments(p Plan, n int, draw *stream) []*assignment {
	all := p.Design.possible()
	out := make([]*assignment, n)
	if p.Order == Independent {
		for i := range out {
			out[i] = all[draw.below(len(all))]
		}
		return out
	}
	// Complete rounds of every assignment, then a random part of one more round for the remainder.
	draw.shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
	for i := range out {
		out[i] = all[i%len(all)]
	}
	draw.shuffle(n, func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}

// replacement deals the n-th replacement (from 0) of a void trial, from a stream of its own: what was hidden in the void
// trial says nothing about it.
func replacement(p Plan, seed Seed, comparison, n int) trial {
	draw := &stream{seed: seed, name: fmt.Sprintf("replacement %d", n)}
	all := p.Design.possible()
	return trial{comparison: comparison, hidden: all[draw.below(len(all))]}
}

// right returns the answer that agrees with what is hidden. In a negative control both sources are the same audio: nobody
// can do better than guess by listening, whatever their response bias, and whoever does has another source of information.
func (t trial) right() Answer { return t.hidden.right }
