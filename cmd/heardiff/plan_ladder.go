package main

import (
	"fmt"
	"strings"

	"heardiff/cmd/heardiff/internal/wire"
	"heardiff/measure/impair"
	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/store"
)

// doseMetrics say what the doses of each quantity are of.
var doseMetrics = map[impair.Quantity]link.Metric{
	impair.RandomJitter: link.DoseRandomJitter, impair.PeriodicJitter: link.DosePeriodicJitter,
	impair.NoiseLevel: link.DoseNoise, impair.Gain: link.DoseGain,
}

// doseOf returns the known dose that a presentation carries, nil for none.
func doseOf(p store.Presentation) *dosed {
	var of struct {
		Dosed *dosed `json:"dosed"`
	}
	if p.Treatment == "" || wire.Unmarshal(p.Result, &of) != nil {
		return nil
	}
	return of.Dosed
}

// rungs compares a clean presentation with each dose of the ladder that the flags name.
func (o planOptions) rungs(excerpts []store.Excerpt) ([]trials.Comparison, error) {
	ladders := map[string][]trials.Comparison{}
	var names []string
	for _, e := range excerpts {
		if o.excerpt != "" && e.Name != o.excerpt {
			continue
		}
		for _, p := range e.Presentations {
			d := doseOf(p)
			clean, ok := presentation(e, p.Chain, "")
			if d == nil || !ok || o.chainA != "" && p.Chain != o.chainA || o.ladder != d.Quantity.String() && o.ladder != d.Words {
				continue
			}
			name := fmt.Sprintf("%s of %s in %s", d.Words, p.Chain, e.Name)
			if len(ladders[name]) == 0 {
				names = append(names, name)
			}
			ladders[name] = append(ladders[name], trials.Comparison{Name: fmt.Sprintf("%s + %s", p.Chain, p.Treatment), A: p.Chain, B: p.Chain,
				Excerpt: e.Name, AudioA: clean.SHA256, AudioB: p.SHA256, Trials: o.trials})
		}
	}
	switch len(names) {
	case 1:
		return ladders[names[0]], nil
	case 0:
		return nil, rejected(fmt.Errorf("no ladder of %q is prepared", o.ladder), `"heardiff prepare --ladder" makes one`)
	}
	return nil, misusedf("--ladder %q: there are %s: choose by --a, by --excerpt, or by the words before \" of \"", o.ladder, strings.Join(names, "; "))
}
