package study

import (
	"fmt"
	"strings"

	"heardiff/measure/impair"
	"heardiff/stats/wire"
	"heardiff/trials"
	"heardiff/trials/link"
)

// doseMetrics are the metrics of the doses of each quantity.
var doseMetrics = map[impair.Quantity]link.Metric{
	impair.RandomJitter: link.DoseRandomJitter, impair.PeriodicJitter: link.DosePeriodicJitter,
	impair.NoiseLevel: link.DoseNoise, impair.Gain: link.DoseGain,
}

// doseOf returns the known dose that a presentation carries, nil for none.
func doseOf(p Presentation) *dosed {
	var of struct {
		Dosed *dosed `json:"dosed"`
	}
	if p.Treatment == "" || wire.Unmarshal(p.Result, &of) != nil {
		return nil
	}
	return of.Dosed
}

// rungs compares a clean presentation with each dose of the ladder that the options name.
func (o PlanOptions) rungs(excerpts []Excerpt) ([]trials.Comparison, error) {
	steps, err := o.ladderSteps(excerpts, OptionLadder, o.Ladder)
	var all []trials.Comparison
	for _, s := range steps {
		all = append(all, s.Comparison)
	}
	return all, err
}

// ladderStep is a dose of a ladder, and its comparison with the clean presentation.
type ladderStep struct {
	trials.Comparison
	dosed
}

// ladderSteps returns the steps of the ladder that an option names by its kind or its words.
func (o PlanOptions) ladderSteps(excerpts []Excerpt, named Option, ladder string) ([]ladderStep, error) {
	ladders := map[string][]ladderStep{}
	var names []string
	for _, e := range excerpts {
		if o.Excerpt != "" && e.Name != o.Excerpt {
			continue
		}
		for _, p := range e.Presentations {
			d := doseOf(p)
			clean, ok := presentation(e, p.Chain, "")
			if d == nil || !ok || o.A != "" && p.Chain != o.A || ladder != d.Quantity.String() && ladder != d.Words {
				continue
			}
			name := fmt.Sprintf("%s of %s in %s", d.Words, p.Chain, e.Name)
			if len(ladders[name]) == 0 {
				names = append(names, name)
			}
			ladders[name] = append(ladders[name], ladderStep{trials.Comparison{Name: fmt.Sprintf("%s + %s", p.Chain, p.Treatment), A: p.Chain, B: p.Chain,
				Excerpt: e.Name, AudioA: clean.SHA256, AudioB: p.SHA256, Trials: o.Trials}, *d})
		}
	}
	switch len(names) {
	case 1:
		return ladders[names[0]], nil
	case 0:
		return nil, advised(Rejection, fmt.Errorf("no ladder of %q is prepared", ladder), phrasef("%v makes one", call(ToPrepareLadder)))
	}
	return nil, misusedf("%v %q: there are %s: choose by %v, by %v, or by the words before \" of \"", named, ladder, strings.Join(names, "; "), OptionA, OptionExcerpt)
}
