package main

import (
	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/study"
)

// judgement is what decides on the rows of a pool: for each row, by its kind and name, p and the bound above which an effect is ruled out.
type judgement struct {
	corrected string // what p is called
	level     float64
	p, bound  map[[2]string]float64
}

// judgedAlone judges listeners who are part of no study, each by themselves.
func judgedAlone(p stats.Pool, cfg stats.ScoreConfig) judgement {
	j := judgement{"p (Holm)", cfg.Alpha, map[[2]string]float64{}, map[[2]string]float64{}}
	for _, l := range p.Listeners {
		j.p[[2]string{"listener", l.Listener}], j.bound[[2]string{"listener", l.Listener}] = l.PHolm, l.DiscriminatorsUpper
	}
	for _, g := range p.Groups {
		j.bound[[2]string{"group", g.Group}] = g.DiscriminatorsUpper
	}
	j.bound[[2]string{"all", ""}] = p.Total.DiscriminatorsUpper
	return j
}

// judgedBy takes the figures of the whole study, by which its verdicts of a design are given.
func judgedBy(verdicts []study.VerdictReport, design trials.Design, alpha float64) judgement {
	j := judgement{"over the study", alpha, map[[2]string]float64{}, map[[2]string]float64{}}
	for _, v := range verdicts {
		name := map[string]string{"listener": v.Listener, "group": v.Group}[v.Kind]
		if v.Design == design.String() && !v.Silent {
			j.p[[2]string{v.Kind, name}], j.bound[[2]string{v.Kind, name}] = v.PStudy, v.UpperPD
		}
	}
	return j
}
