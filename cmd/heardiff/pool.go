package main

import (
	"context"
	"fmt"
	"io"
	"math"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/columns"
	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

func (a *app) poolCommand() *cobra.Command {
	var alpha, confidence float64
	var comparison, design string
	c := &cobra.Command{
		Use:   "pool [FILE.csv]",
		Short: "listeners together: totals, how much they differ, who hears it, groups compared",
		Long: `Listeners together: totals, how much they differ, who hears it, groups compared.

Without a file: the sessions of the study that have ended, with those given up and without
those that are void, of one comparison and one design whose right answers are counted. The verdicts
are those of the whole study, as "link" gives them; p of these sums alone decides nothing.

FILE.csv has the columns listener,group,correct,trials, one row for each listener; several rows of
one listener are added up. The p of the total is exact against "none of them hears it"; where
listeners differ, it overstates what is known of their mean, and pool says so. A further column
site (in a study, the site where a session was run) adds a random-effects meta-analysis over the
sites. It takes counts alone: a percentage, from such an analysis or from print, is never turned back into k of n.`,
		Example: "  heardiff pool listeners.csv",
		Args:    oneOrNone("one FILE.csv, or none for the study's sessions,"),
		RunE: func(c *cobra.Command, args []string) error {
			cfg, err := scoreConfig(scoreFlags{alpha: alpha, confidence: confidence, plan: "fixed"})
			if err != nil {
				return misused(err)
			}
			of, err := pooledDesign(design)
			if err != nil {
				return err
			}
			if len(args) == 0 {
				return a.poolStudy(c.Context(), comparison, of, cfg)
			}
			if comparison != "" {
				return misusedf("--comparison %q is of the study: it goes without FILE.csv", comparison)
			}
			listeners, err := readListeners(c.Context(), args[0])
			if err != nil {
				return err
			}
			if !of.Known() {
				of = trials.ABX
			}
			return a.poolListeners(c.Context(), listeners, of.Scored(cfg))
		},
	}
	c.Flags().StringVar(&design, "design", "", "how the counts came about: "+countedDesigns()+" (else abx; without FILE.csv: the only one of the study)")
	c.Flags().StringVar(&comparison, "comparison", "", "without FILE.csv: the `name` of the comparison")
	alphaFlag(c.Flags(), &alpha)
	confidenceFlag(c.Flags(), &confidence)
	return c
}

// pooledDesign returns the design of that name, none where none is named.
func pooledDesign(name string) (trials.Design, error) {
	if name == "" {
		return trials.Design{}, nil
	}
	d, err := trials.ParseDesign(name)
	if err != nil || d.ByRates() {
		return d, misusedf("--design %q: %s is wanted", name, countedDesigns())
	}
	return d, nil
}

// poolListeners pools and prints. A long table takes seconds to lay out.
func (a *app) poolListeners(ctx context.Context, listeners []stats.Listener, cfg stats.ScoreConfig) error {
	out, err := study.Interruptibly(ctx, func() ([]byte, error) {
		p, err := stats.PoolListeners(listeners, cfg)
		if err != nil {
			return nil, rejected(err, "")
		}
		result := struct {
			Schema string `json:"schema"`
			stats.Pool
		}{"heardiff.pool/1", p}
		return a.laidOut(result, func(w io.Writer) { writePool(w, p, judgedAlone(p, cfg)) })
	})
	if err != nil {
		return err
	}
	return a.printLaidOut(out)
}

// poolStudy pools the sessions of the study and prints them, with the verdicts of the whole study.
func (a *app) poolStudy(ctx context.Context, comparison string, design trials.Design, cfg stats.ScoreConfig) error {
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	l, err := s.Link(ctx)
	if err != nil {
		return err
	}
	pooled, err := a.studyListeners(l, comparison, design)
	if err != nil {
		return err
	}
	comparison = pooled.comparison
	p, err := stats.PoolListeners(pooled.listeners, pooled.design.Scored(cfg))
	if err != nil {
		return rejected(err, "")
	}
	verdicts := study.VerdictsOf(l.Result, comparison)
	for _, v := range verdicts {
		if v.Kind == "all" && v.Design == pooled.design.String() {
			p.SetVerdict(v.Says)
		}
	}
	result := struct {
		Schema string `json:"schema"`
		stats.Pool
		Verdicts []study.VerdictReport `json:"verdicts"`
	}{"heardiff.pool/1", p, verdicts}
	return a.print(result, func(w io.Writer) {
		writePool(w, p, judgedBy(verdicts, pooled.design, l.Result.Family.Alpha))
		writeVerdicts(w, verdicts, l.Result.Family)
	})
}

func readListeners(ctx context.Context, path string) ([]stats.Listener, error) {
	t, err := readTable(ctx, path, "listener", "group", "correct", "trials")
	if err != nil {
		return nil, err
	}
	listeners, err := columns.Listeners(t)
	if err != nil {
		return nil, rejected(fmt.Errorf("%s: %w", path, err), "")
	}
	return listeners, nil
}

func writePool(w io.Writer, p stats.Pool, by judgement) {
	t := newTable("", "correct", "trials", "%", "p uncorrected", "two-sided", by.corrected, "d', independent", fmt.Sprintf("ruled out above (at %g)", by.level))
	t.right(1, 2, 3, 4, 5, 6, 7, 8)
	row := func(shown, kind, name string, s stats.Score) {
		corrected, bound := "", "–"
		if v, ok := by.p[[2]string{kind, name}]; ok {
			corrected = link.Probability(v)
		}
		if v, ok := by.bound[[2]string{kind, name}]; ok {
			bound = number(v)
		}
		t.row(shown, fmt.Sprint(s.Correct), fmt.Sprint(s.Trials), fmt.Sprintf("%.1f", 100*s.Proportion), link.Probability(s.P), link.Probability(s.PTwoSided), corrected,
			number(s.DPrimeIndependent), bound)
	}
	for _, l := range p.Listeners {
		row(l.Listener, "listener", l.Listener, l.Score)
	}
	for _, g := range p.Groups {
		row("group "+g.Group, "group", g.Group, g.Score)
	}
	row("all trials", "all", "", p.Total)
	t.print(w, "")
	fmt.Fprintln(w)
	intervalHead(w, p.Total.Confidence)
	writePooled(w, p)
	fmt.Fprintf(w, "\n%s\n", p.Says)
	warningLines(w, "note: ", p.Warnings)
	if p.MetaAnalysis != nil {
		writeSites(w, *p.MetaAnalysis)
	}
}

// writeSites writes the meta-analysis over sites.
func writeSites(w io.Writer, m stats.SiteAnalysis) {
	t := newTable("site", "listeners", "correct", "trials", "%", "weight, %")
	t.right(1, 2, 3, 4, 5)
	for i, s := range m.Sites {
		t.row(s.Site, fmt.Sprint(s.Listeners), fmt.Sprint(s.Correct), fmt.Sprint(s.Trials), fmt.Sprintf("%.1f", 100*s.Proportion),
			fmt.Sprintf("%.1f", 100*m.RestrictedMaximum.Weights[i]))
	}
	t.print(w, "\n")
	fmt.Fprintln(w)
	d := newTable()
	r := m.RestrictedMaximum
	d.row("sites differ", "p "+link.Probability(m.P), fmt.Sprintf("Q %s, df %d; I-squared %.0f %%", number(m.Q), m.DF, 100*r.I2))
	d.row("mean of sites", number(m.Mean), span(m.MeanInterval)+", Hartung-Knapp")
	d.row("a further site", "", span(m.PredictionInterval)+", prediction")
	d.row("tau-squared", number(r.Tau2), fmt.Sprintf("%s; DerSimonian-Laird %s; of the logit", span(m.Tau2Interval), number(m.DerSimonianLaird.Tau2)))
	d.print(w, "")
	warningLines(w, "note: ", m.Warnings)
}

func writePooled(w io.Writer, p stats.Pool) {
	t := newTable()
	h, b := p.Heterogeneity, p.BetaBinomial
	t.row("listeners differ", "p "+link.Probability(h.P), fmt.Sprintf("chi-square %s, df %d; Tarone's Z %s", number(h.Chi2), h.DF, number(h.Tarone)))
	t.row("beta-binomial", "mean "+number(b.Mean), fmt.Sprintf("%s; rho %s, p %s", span(b.Interval), number(b.Rho), link.Probability(b.P)))
	if v := p.Discriminators; !math.IsNaN(v.Mean) {
		t.row("discriminators", "mean "+number(v.Mean), fmt.Sprintf("%s; rho %s, none below chance", span(v.Interval), number(v.Rho)))
	}
	t.row("combined", "p "+link.Probability(p.StoufferP), fmt.Sprintf("Stouffer, mid-p; Fisher %s", link.Probability(p.FisherP)))
	t.row("at least one", "p "+link.Probability(p.MaximumP), "the best listener against chance")
	if d := p.GroupDifference; d != nil {
		t.row(d.B+" less "+d.A, number(d.Estimate), fmt.Sprintf("%s; p %s, permuting listeners", span(d.Interval), link.Probability(d.P)))
	}
	t.print(w, "")
}
