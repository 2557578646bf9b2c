package study

import (
	"context"

	"heardiff/trials"
)

// ByHand marks, in a plan, audio that no file holds: a helper connects the chain named after it.
const ByHand = "by hand: "

// comparisonByHand is the one comparison of a plan in which a helper connects the chains. There is no excerpt, and no
// practice or positive control: the helper has nothing that differs plainly.
func (o PlanOptions) comparisonByHand(ctx context.Context, s *Study) ([]trials.Comparison, error) {
	if o.Practice > 0 || o.Positive > 0 || len(o.Also) > 0 || o.Excerpt != "" {
		return nil, misusedf("%v takes no %v, %v, %v or %v", OptionByHand, OptionExcerpt, OptionAlso, OptionPractice, OptionPositive)
	}
	for _, name := range []string{o.A, o.B} {
		if _, err := s.Chain(ctx, name); err != nil {
			return nil, InStudy(err)
		}
	}
	all := []trials.Comparison{{Name: o.A + " – " + o.B, A: o.A, B: o.B,
		AudioA: ByHand + o.A, AudioB: ByHand + o.B, Trials: o.Trials}}
	if o.Negative > 0 {
		all = append(all, trials.Comparison{Name: trials.NegativeControl.String(), Kind: trials.NegativeControl, A: o.A, B: o.A,
			AudioA: ByHand + o.A, AudioB: ByHand + o.A, Trials: o.Negative})
	}
	return all, nil
}
