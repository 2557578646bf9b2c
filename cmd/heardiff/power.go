package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/report"
	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/study"
)

type powerFlags struct {
	design        string
	pTrue         float64
	alpha, power  float64
	trials        int
	dPrime        float64
	discriminator float64
	ruleOut       float64
	plan          string
	boundary      string
	looks         int
	listeners     int
	rho           float64
	seed          uint64
	plot          string
	of            trials.Design // of that name
}

func (a *app) powerCommand() *cobra.Command {
	var f powerFlags
	c := &cobra.Command{
		Use:   "power --design abx --p-true P [--power B | --trials N]",
		Short: "how many trials a test needs, or what a number of trials can find",
		Long: `How many trials a test needs, or what a number of trials can find. All figures are exact.

The power of an exact test is a sawtooth in the number of trials; the number given keeps the
power for each of the next 50. With --rule-out PD the plan is to rule out a proportion of
discriminators of PD or more where nothing is heard: that takes more trials than people think
(16 never rule out less than 0.44).

` + whatDiscriminatorsAre + `

With --plan sequential the session may end early, at looks fixed beforehand: by evidence after
every trial, or by a group-sequential boundary after --looks equal groups. O'Brien and Fleming's
hardly ever stops early and costs least; Pocock's stops as easily at every look. Each is found
on exact counts, so that the risk over all looks stays within alpha; with --rule-out the same
boundary, turned round, says 'ruled out'. Without --trials the largest number of trials is the
smallest whose chance of 'heard' at --p-true is --power (where only --rule-out is given, whose
chance of 'ruled out' where nothing is heard).

With --listeners several people take part and differ: each is right with a chance of their own,
of mean --p-true and intraclass correlation --rho. That power is simulated.

` + peekingCost + ``,
		Example: "  heardiff power --design abx --p-true 0.7 --alpha 0.05 --power 0.8\n" +
			"  heardiff power --design abx --rule-out 0.2 --power 0.8\n" +
			"  heardiff power --design triangle --d-prime 1.5 --power 0.8\n" +
			"  heardiff power --design abx --p-true 0.7 --trials 100 --plan sequential\n" +
			"  heardiff power --p-true 0.7 --trials 100 --plan sequential --boundary pocock --looks 5 --rule-out 0.3\n" +
			"  heardiff power --p-true 0.6 --listeners 12 --rho 0.1 --power 0.8\n" +
			"  heardiff power --p-true 0.7 --trials 42 --plot power.svg",
		Args: exactArgs(),
		RunE: func(c *cobra.Command, _ []string) error { return a.power(c, f) },
	}
	fl := c.Flags()
	fl.StringVar(&f.design, "design", "abx", "`abx`, or another design whose right answers are counted: "+countedDesigns())
	fl.Float64Var(&f.pTrue, "p-true", 0, "the proportion correct worth finding")
	fl.Float64Var(&f.dPrime, "d-prime", 0, "the same as a d' (by the model usual for the design: independent observations in abx)")
	fl.Float64Var(&f.discriminator, "discriminators", 0, "the same as a proportion of discriminators")
	alphaFlag(fl, &f.alpha)
	fl.Float64Var(&f.power, "power", 0.8, "the wanted chance of finding it")
	fl.IntVar(&f.trials, "trials", 0, "give the power of this many trials instead")
	fl.Float64Var(&f.ruleOut, "rule-out", 0, "plan to rule out this proportion of discriminators")
	fl.StringVar(&f.plan, "plan", "fixed", "`fixed` or sequential")
	fl.StringVar(&f.boundary, "boundary", "evidence", "the `form` of a sequential plan: "+study.Boundaries)
	fl.IntVar(&f.looks, "looks", 0, "`number` of looks of a sequential plan (else 5; by evidence, after every trial)")
	fl.IntVar(&f.listeners, "listeners", 0, "plan for so many `people` who differ")
	fl.Float64Var(&f.rho, "rho", 0.1, "how much they differ: the intraclass `correlation`")
	fl.Uint64Var(&f.seed, "seed", 1, "`seed` of the simulated panels")
	a.forceFlag(c)
	fl.StringVar(&f.plot, "plot", "", "draw the power of the plan to `FILE`.svg or .png")
	return c
}

func (a *app) power(c *cobra.Command, f powerFlags) error {
	if err := a.checkPowerFlags(c, &f); err != nil {
		return err
	}
	switch {
	case f.listeners > 0:
		return a.powerPanel(c, f)
	case f.plan == "sequential":
		return a.powerSequential(f)
	}
	if c.Flags().Changed("rule-out") {
		return a.powerRuleOut(c, f)
	}
	p, err := stats.PowerAt(f.trials, f.of.Chance(), f.pTrue, f.alpha)
	if !c.Flags().Changed("trials") {
		p, err = stats.TrialsFor(f.of.Chance(), f.pTrue, f.alpha, f.power)
	}
	if err != nil {
		return rejected(err, reachHint(err))
	}
	result := struct {
		Schema string `json:"schema"`
		Design string `json:"design"`
		stats.Power
		PTrue float64 `json:"p_true"`
		Alpha float64 `json:"alpha"`
	}{"heardiff.power/1", f.design, p, f.pTrue, f.alpha}
	if f.plot != "" {
		if err := a.plotPower(c.Context(), f, p.Trials); err != nil {
			return err
		}
	}
	return a.print(result, func(w io.Writer) {
		writePower(w, p)
		wrotePicture(w, f.plot)
	})
}

// countedDesigns names the designs in which right answers are counted: the power of others depends on the habit of answering.
func countedDesigns() string {
	var names []string
	for _, d := range trials.Designs() {
		if !d.ByRates() {
			names = append(names, d.String())
		}
	}
	return trials.AnyOf(names)
}

func reachHint(err error) string {
	if errors.Is(err, stats.ErrOutOfReach) {
		return "ask for a larger effect or less power"
	}
	return ""
}

func (a *app) checkPowerFlags(c *cobra.Command, f *powerFlags) error {
	changed := c.Flags().Changed
	var err error
	if f.of, err = trials.ParseDesign(f.design); err != nil || f.of.ByRates() {
		return misusedf("--design %q: %s is wanted", f.design, countedDesigns())
	}
	if err := oneOf("plan", f.plan, "fixed", "sequential"); err != nil {
		return err
	}
	switch {
	case changed("trials") && changed("power"):
		return misusedf("--trials and --power exclude each other")
	case changed("trials") && (f.trials < 1 || f.trials > stats.MaxTrials):
		return misusedf("--trials %d: 1 to %d is wanted", f.trials, stats.MaxTrials)
	case !(f.alpha > 0 && f.alpha < 1):
		return misusedf("--alpha %v: a fraction inside (0, 1) is wanted", f.alpha)
	case !(f.power > 0 && f.power < 1):
		return misusedf("--power %v: a fraction inside (0, 1) is wanted", f.power)
	case changed("listeners") && f.listeners < 1:
		return misusedf("--listeners %d: one or more", f.listeners)
	case changed("listeners") && (f.plan == "sequential" || changed("rule-out") || changed("plot")):
		return misusedf("--listeners goes without --plan sequential, --rule-out and --plot")
	case changed("rho") && !changed("listeners"):
		return misusedf("--rho goes with --listeners")
	case changed("rho") && !(f.rho >= 0 && f.rho < 1):
		return misusedf("--rho %v: 0 to 1 is wanted, 1 excluded", f.rho)
	case (changed("boundary") || changed("looks")) && f.plan != "sequential":
		return misusedf("--boundary and --looks go with --plan sequential")
	case changed("plot") && (f.plan == "sequential" || changed("rule-out")):
		return misusedf("--plot draws the power of a fixed plan to find an effect")
	case changed("rule-out") && !(f.ruleOut > 0 && f.ruleOut < 1):
		return misusedf("--rule-out %v: a fraction inside (0, 1) is wanted", f.ruleOut)
	}
	if err := study.CheckBoundary(f.boundary, f.looks, changed("looks")); err != nil {
		return err
	}
	if f.boundary != "evidence" && f.looks == 0 {
		f.looks = 5
	}
	if f.plot != "" {
		if err := a.checkPicture(f.plot); err != nil {
			return err
		}
	}
	return effectFlags(changed, f)
}

// maxDPrime is far above what any number of trials resolves. A judgement, no source; TestWrongInputSaysWhatAndWhy holds it.
const maxDPrime = 50

// effectFlags takes the effect from the one flag that names it.
func effectFlags(changed func(string) bool, f *powerFlags) error {
	given := 0
	for _, name := range []string{"p-true", "d-prime", "discriminators"} {
		if changed(name) {
			given++
		}
	}
	switch {
	case given > 1:
		return misusedf("--p-true, --d-prime and --discriminators exclude each other")
	case given == 0 && !changed("rule-out"):
		return misusedf("--p-true is missing")
	case changed("d-prime") && !(f.dPrime >= 0 && f.dPrime <= maxDPrime):
		return misusedf("--d-prime %v: 0 to %d is wanted", f.dPrime, maxDPrime)
	case changed("discriminators") && !(f.discriminator >= 0 && f.discriminator <= 1):
		return misusedf("--discriminators %v: 0 to 1 is wanted", f.discriminator)
	case !(f.pTrue >= 0 && f.pTrue <= 1):
		return misusedf("--p-true %v: 0 to 1 is wanted", f.pTrue)
	}
	if changed("d-prime") {
		f.pTrue = f.of.Procedure().Correct(f.dPrime)
	}
	if changed("discriminators") {
		f.pTrue = stats.FromDiscriminators(f.discriminator, f.of.Chance())
	}
	return nil
}

func writePower(w io.Writer, p stats.Power) {
	if p.Critical == nil {
		fmt.Fprintf(w, "%d trials cannot decide: no count reaches alpha\n", p.Trials)
		return
	}
	t := newTable()
	t.row("trials", fmt.Sprint(p.Trials))
	t.row("heard at", fmt.Sprint(*p.Critical), "correct or more")
	t.row("power", fmt.Sprintf("%.3f", p.Power))
	t.row("true alpha", fmt.Sprintf("%.4f", p.Size))
	t.print(w, "")
}

func (a *app) powerRuleOut(c *cobra.Command, f powerFlags) error {
	r := stats.RulingOutAt(f.trials, f.of.Chance(), f.ruleOut, 0, f.alpha)
	if !c.Flags().Changed("trials") {
		var err error
		if r, err = stats.TrialsToRuleOut(f.of.Chance(), f.ruleOut, 0, f.alpha, f.power); err != nil {
			return rejected(err, reachHint(err))
		}
	}
	result := struct {
		Schema string `json:"schema"`
		stats.RulingOut
		RuleOut float64 `json:"rule_out"`
	}{"heardiff.power/1", r, f.ruleOut}
	return a.print(result, func(w io.Writer) {
		if r.Largest == nil {
			fmt.Fprintf(w, "%d trials can never rule out %g of discriminators\n", r.Trials, f.ruleOut)
			return
		}
		fmt.Fprintf(w, "trials %d: ruled out at %d correct or fewer; power %.3f where nothing is heard, risk %.4f\n",
			r.Trials, *r.Largest, r.Power, r.Risk)
	})
}

// plotPower draws the power of a fixed plan against how often a listener is right.
func (a *app) plotPower(ctx context.Context, f powerFlags, n int) error {
	chart, ok := report.PowerOf(n, trials.Plan{Design: f.of, Alpha: f.alpha, SmallestEffect: stats.Discriminators(f.pTrue, f.of.Chance())})
	if !ok {
		return rejected(fmt.Errorf("%d trials at alpha %g have no power to draw", n, f.alpha), "")
	}
	return a.writePicture(ctx, f.plot, chart)
}
