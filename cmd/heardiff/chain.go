package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"heardiff/trials/study"
)

func (a *app) chainCommand() *cobra.Command {
	return group("chain", "name the chains of the study, and correct what is said of them", a.chainAddCommand(), a.chainListCommand(), a.chainCorrectCommand(), a.chainRenameCommand(), a.chainRemoveCommand())
}

func (a *app) chainAddCommand() *cobra.Command {
	chain := study.Chain{}
	var cost float64
	c := &cobra.Command{
		Use:   "add NAME [--about TEXT] [--cost N] [--role source|floor|replay] [--after CHAIN]",
		Short: "add a chain: a source, the recorder's own floor, or the replay chain",
		Long: `Add a chain: one way from the player to the DAC's analogue output.

A floor chain is the recording set-up alone, its output looped to its input: the limit of
what can be measured. A replay chain is what the listener hears the test through; a
difference smaller than its own cannot be tested through it. For a chain that another feeds
(--after), the report draws how much of the other's jitter it removes.`,
		Example: `  heardiff chain add attic --about "the player on the clock in the attic" --cost 40`,
		Args:    exactArgs("NAME"),
		RunE: func(c *cobra.Command, args []string) error {
			chain.Name = args[0]
			if c.Flags().Changed("cost") {
				chain.Cost = &cost
			}
			return a.addChain(c.Context(), chain)
		},
	}
	chainFlags(c.Flags(), &chain.About, &chain.Role, &chain.After, "source")
	c.Flags().Float64Var(&cost, "cost", 0, "what it costs, in any one `currency`")
	return c
}

// chainFlags say what a chain is, of the given role unless a flag names one.
func chainFlags(f *pflag.FlagSet, about, role, after *string, usualRole string) {
	f.StringVar(about, "about", "", "what it is, in a `line`")
	f.StringVar(role, "role", usualRole, "`source`, floor or replay")
	f.StringVar(after, "after", "", "the `chain` whose output feeds it")
}

func (a *app) addChain(ctx context.Context, chain study.Chain) error {
	if err := study.CheckChain(chain); err != nil {
		return err
	}
	return a.inStudy(ctx, func(s *study.Study) error {
		if err := s.AddChain(ctx, chain); err != nil {
			return err
		}
		return a.printStep(ctx, s, chain, func(w io.Writer) { fmt.Fprintf(w, "chain %s added (%s)\n", chain.Name, chain.Role) })
	})
}
