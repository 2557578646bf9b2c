package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"heardiff/trials"
	"heardiff/trials/study"
)

func (a *app) listenerCommand() *cobra.Command {
	return group("listener", "add, list or forget listeners", a.listenerAddCommand(), a.listenerListCommand(), a.listenerForgetCommand())
}

// maxYears of listening is longer than anybody lives.
const maxYears = 120

func (a *app) listenerAddCommand() *cobra.Command {
	l := study.Listener{}
	var years float64
	c := &cobra.Command{
		Use:   "add ID [--group GROUP] [--years N] …",
		Short: "add a listener under a pseudonym",
		Long: `Add a listener under a pseudonym: no names, please. All but the pseudonym is voluntary,
"listener forget" removes it again, and "export --anonymous" leaves it out.`,
		Example: `  heardiff listener add L7 --group trained --years 12 --transducer headphones`,
		Args:    exactArgs("ID"),
		RunE: func(c *cobra.Command, args []string) error {
			l.ID = args[0]
			if c.Flags().Changed("years") {
				if !(years >= 0 && years <= maxYears) {
					return misusedf("--years %v: 0 to %d", years, maxYears)
				}
				l.Years = &years
			}
			return a.addListener(c.Context(), l)
		},
	}
	f := c.Flags()
	f.StringVar(&l.Group, "group", "", "such as trained or untrained: a `word` of your own")
	f.Float64Var(&years, "years", 0, "`years` of critical listening")
	f.StringVar(&l.Hearing, "hearing", "", "what the listener says of their hearing, a `line`")
	f.StringVar(&l.Transducer, "transducer", "", "`headphones` or loudspeakers, and which kind")
	f.StringVar(&l.Room, "room", "", "the room, in a `line`")
	f.StringVar(&l.Consent, "consent", "", "what the listener agreed to, in a `line`")
	f.BoolVar(&l.Simulated, "simulated", false, "the listener is a computation; every result says so")
	return c
}

func (a *app) addListener(ctx context.Context, l study.Listener) error {
	if err := study.CheckListener(l); err != nil {
		return err
	}
	return a.inStudy(ctx, func(s *study.Study) error {
		if err := s.AddListener(ctx, l); err != nil {
			return err
		}
		kept, err := s.Listener(ctx, l.ID) // with its time
		if err != nil {
			return study.InStudy(err)
		}
		return a.printStep(ctx, s, kept, func(w io.Writer) { fmt.Fprintf(w, "listener %s added\n", l.ID) })
	})
}

func (a *app) listenerForgetCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "forget ID",
		Short: "remove all a listener said of themselves; pseudonym and answers stay",
		Args:  exactArgs("ID"),
		RunE: a.onStudy(func(ctx context.Context, s *study.Study, args []string) error {
			left, err := s.Forget(ctx, args[0])
			if err != nil {
				return err
			}
			return a.print(left, func(w io.Writer) { forgottenText(w, left) })
		}),
	}
}

func forgottenText(w io.Writer, f study.Forgotten) {
	fmt.Fprintf(w, "listener %s: all that they said of themselves is gone from the study; pseudonym and answers stay\n", f.Listener)
	for _, v := range f.Remains {
		fmt.Fprintf(w, "session %s still holds %s in their words: links of its chain, which \"export --anonymous\" leaves out\n", study.ShortID(v.Session), trials.Counted(v.Remarks, "reason"))
	}
	fmt.Fprintln(w, "exports, reports, tables and backups made before hold what they held: delete them, and ask those who have copies to")
}
