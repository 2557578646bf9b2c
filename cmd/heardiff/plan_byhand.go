package main

import (
	"context"

	"heardiff/trials"
	"heardiff/trials/store"
)

// comparisonByHand is the one comparison of a plan in which a helper connects the chains. There is no excerpt, and no
// practice or positive control: the helper has nothing that differs plainly.
func (o planOptions) comparisonByHand(ctx context.Context, s *store.Store) ([]trials.Comparison, error) {
	if o.practice > 0 || o.positive > 0 || len(o.also) > 0 || o.excerpt != "" {
		return nil, misusedf("--by-hand takes no --excerpt, --also, --practice or --positive")
	}
	for _, name := range []string{o.chainA, o.chainB} {
		if _, err := s.Chain(ctx, name); err != nil {
			return nil, inStudy(err)
		}
	}
	all := []trials.Comparison{{Name: o.chainA + " – " + o.chainB, A: o.chainA, B: o.chainB,
		AudioA: byHand + o.chainA, AudioB: byHand + o.chainB, Trials: o.trials}}
	if o.negative > 0 {
		all = append(all, trials.Comparison{Name: trials.NegativeControl.String(), Kind: trials.NegativeControl, A: o.chainA, B: o.chainA,
			AudioA: byHand + o.chainA, AudioB: byHand + o.chainA, Trials: o.negative})
	}
	return all, nil
}
