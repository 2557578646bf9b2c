package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/study"
)

// powerPanel plans a test with several listeners who differ.
func (a *app) powerPanel(c *cobra.Command, f powerFlags) error {
	panel := stats.Panel{Listeners: f.listeners, Trials: f.trials, PTrue: f.pTrue, Rho: f.rho, Alpha: f.alpha, Seed: f.seed, Procedure: f.of.Procedure()}
	p, err := study.Interruptibly(c.Context(), func() (stats.PanelPower, error) {
		if c.Flags().Changed("trials") {
			return panel.Power()
		}
		return panel.TrialsEach(f.power)
	})
	if err != nil {
		return rejected(err, reachHint(err))
	}
	result := struct {
		Schema string `json:"schema"`
		Design string `json:"design"`
		stats.PanelPower
	}{"heardiff.power/1", f.design, p}
	return a.print(result, func(w io.Writer) { writePanel(w, p) })
}

func writePanel(w io.Writer, p stats.PanelPower) {
	fmt.Fprintf(w, "%s of %s each, right %.1f %% of the time on average, intraclass correlation %g\n", trials.Counted(p.Listeners, "listener"), trials.Counted(p.Trials, "trial"), 100*p.PTrue, p.Rho)
	t := newTable("test", "heard at", "power", "standard error")
	t.right(1, 2, 3)
	at := func(k *int) string {
		if k == nil {
			return "never"
		}
		return fmt.Sprint(*k)
	}
	t.row("all answers together: somebody hears something", at(p.TotalAt), fmt.Sprintf("%.3f", p.Total), fmt.Sprintf("%.3f", p.TotalError))
	t.row("one by one: at least one of them hears it (Holm)", at(p.AnyAt), fmt.Sprintf("%.3f", p.Any), fmt.Sprintf("%.3f", p.AnyError))
	t.print(w, "\n")
	fmt.Fprintf(w, "\n%.1f of the %d pass one by one, on average. Simulated: %d panels, each listener's chance drawn from a beta distribution.\n",
		p.Found, p.Listeners, p.Runs)
}
