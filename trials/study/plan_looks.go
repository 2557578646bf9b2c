package study

import (
	"strings"

	"heardiff/stats"
	"heardiff/trials"
)

// SequentialPlan is a plan with looks, by whichever boundary was chosen.
type SequentialPlan struct {
	Looks    stats.Looks
	Boundary string
	Group    *stats.GroupPlan // nil for evidence
}

// Boundaries lists the boundaries of sequential plans, as messages and help print them.
const Boundaries = "evidence, obrien-fleming or pocock"

// MakeLooks plans the looks of n trials of a design: after every trial by evidence, else after equal groups. ruleOut 0 never says
// 'ruled out'; alpha is the risk of 'heard', risk that of 'ruled out'.
func MakeLooks(d trials.Design, boundary string, n, looks int, ruleOut, alpha, risk float64) (SequentialPlan, error) {
	if boundary == "evidence" && looks == 0 {
		looks = n
	}
	at, err := stats.EqualLooks(n, looks)
	if err != nil {
		return SequentialPlan{}, err
	}
	if boundary == "evidence" {
		l, err := stats.EvidenceLooks(at, d.Chance(), ruleOut, alpha, risk)
		return SequentialPlan{Looks: l, Boundary: boundary}, err
	}
	b, err := stats.ParseBoundary(boundary)
	if err != nil {
		return SequentialPlan{}, err
	}
	g, err := stats.Groups{Boundary: b, Trials: at, Chance: d.Chance(), Alpha: alpha, RuleOut: ruleOut, Risk: risk}.Plan()
	return SequentialPlan{Looks: g.Looks, Boundary: boundary, Group: &g}, err
}

// CheckBoundary refuses an unknown boundary, or an impossible number of looks.
func CheckBoundary(boundary string, looks int, looksGiven bool) error {
	switch {
	case !strings.Contains(" evidence obrien-fleming pocock ", " "+boundary+" "):
		return misusedf("%v %q: %s is wanted", OptionBoundary, boundary, Boundaries)
	case looksGiven && looks < 1:
		return misusedf("%v %d: one or more", OptionLooks, looks)
	}
	return nil
}
