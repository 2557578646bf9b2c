package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/trials"
	"heardiff/trials/study"
)

// mending has a command correct something of the study, for the reason that --why gives.
func (a *app) mending(c *cobra.Command, correct func(ctx context.Context, s *study.Study, args []string, why string) error) *cobra.Command {
	var why string
	whyFlag(c, &why)
	c.RunE = a.onStudy(func(ctx context.Context, s *study.Study, args []string) error { return correct(ctx, s, args, why) })
	return c
}

// whyFlag adds the flag for the reason of a correction.
func whyFlag(c *cobra.Command, why *string) {
	c.Flags().StringVar(why, "why", "", "the `reason`, kept in the record")
}

func (a *app) studyRetitleCommand() *cobra.Command {
	return a.mending(&cobra.Command{
		Use:   "retitle TITLE",
		Short: "give the study another title",
		Long: `Give the study another title. The record keeps the one it had; reports and bundles that were
made before keep theirs. The folder's name is yours to change: a study finds itself anywhere.`,
		Example: `  heardiff study retitle "Can anybody hear the attic clock?" --why "a clearer question"`,
		Args:    exactArgs("TITLE"),
	}, func(ctx context.Context, s *study.Study, args []string, why string) error {
		was, err := s.Retitle(ctx, args[0], why)
		if err != nil {
			return err
		}
		result := struct {
			Schema string `json:"schema"`
			Title  string `json:"title"`
			Was    string `json:"was"`
			Why    string `json:"why"`
		}{"heardiff.study_retitled/1", args[0], was, why}
		return a.printStep(ctx, s, result, func(w io.Writer) {
			fmt.Fprintf(w, "the study is called %q now; the record keeps that it was %q\n", args[0], was)
		})
	})
}

func (a *app) studyChangesCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "changes",
		Short: "list what was corrected, renamed or taken out, and why",
		Long: `List what was corrected, renamed or taken out (title, chains, captures, excerpts, entered figures),
as the record keeps it: what it was, when it changed, and why.`,
		Args: exactArgs(),
		RunE: a.onStudy(func(ctx context.Context, s *study.Study, _ []string) error {
			all, err := s.Corrections(ctx)
			if err != nil {
				return err
			}
			result := struct {
				Schema  string             `json:"schema"`
				Changes []study.Correction `json:"changes"`
			}{"heardiff.changes/1", append([]study.Correction{}, all...)}
			return a.print(result, func(w io.Writer) {
				if len(all) == 0 {
					fmt.Fprintln(w, "nothing was corrected, renamed or taken out")
				}
				for _, v := range all {
					line := fmt.Sprintf("%.16s UTC  %s", strings.Replace(v.At, "T", " ", 1), v.Says)
					if v.Why != "" {
						line += ": " + v.Why
					}
					fmt.Fprintln(w, line)
				}
			})
		}),
	}
}

// mendedChain is what the commands that mend a chain print: the chain as it is now, or as it was where it is gone.
type mendedChain struct {
	Schema string      `json:"schema"`
	Done   string      `json:"done"` // corrected, renamed or removed
	Was    string      `json:"was"`  // the name that it had
	Why    string      `json:"why"`
	Chain  study.Chain `json:"chain"`
}

// mendedChain prints that a chain was mended, in words.
func (a *app) mendedChain(ctx context.Context, s *study.Study, r mendedChain, words string) error {
	r.Schema = "heardiff.chain_mended/1"
	return a.printStep(ctx, s, r, func(w io.Writer) { fmt.Fprintln(w, words) })
}

func (a *app) chainRenameCommand() *cobra.Command {
	return a.mending(&cobra.Command{
		Use:   "rename NAME NEW",
		Short: "give a chain another name",
		Long: `Give a chain another name; its captures, what was measured of them and what was entered of it go
with it, and the record keeps the name it had. Once an excerpt or a plan holds the name, it stays:
results may rest on it. What is said of the chain can be corrected then ("heardiff chain correct").`,
		Example: `  heardiff chain rename atic attic --why "misspelt"`,
		Args:    exactArgs("NAME", "NEW"),
	}, func(ctx context.Context, s *study.Study, args []string, why string) error {
		chain, err := s.RenameChain(ctx, args[0], args[1], why)
		if err != nil {
			return err
		}
		return a.mendedChain(ctx, s, mendedChain{Done: "renamed", Was: args[0], Why: why, Chain: chain},
			fmt.Sprintf("chain %s is called %s now", args[0], args[1]))
	})
}

func (a *app) chainRemoveCommand() *cobra.Command {
	return a.mending(&cobra.Command{
		Use:   "remove NAME",
		Short: "take a chain out of the study",
		Long: `Take a chain out of the study that has no captures, excerpts or plans, with what was entered of it.
The record keeps that it was there, and why it went.`,
		Example: `  heardiff chain remove spare --why "it was never recorded"`,
		Args:    exactArgs("NAME"),
	}, func(ctx context.Context, s *study.Study, args []string, why string) error {
		chain, err := s.RemoveChain(ctx, args[0], why)
		if err != nil {
			return err
		}
		return a.mendedChain(ctx, s, mendedChain{Done: "removed", Was: args[0], Why: why, Chain: chain},
			fmt.Sprintf("chain %s is out of the study; the record keeps that it was there", args[0]))
	})
}

func (a *app) chainCorrectCommand() *cobra.Command {
	var about, role, after, cost, why string
	c := &cobra.Command{
		Use:   "correct NAME [--about TEXT] [--cost N|none] [--role source|floor|replay] [--after CHAIN]",
		Short: "correct what is said of a chain",
		Long: `Correct what is said of a chain: what it is, what it costs, which chain feeds it (--after '' for none).
The record keeps what was said before. The role stays once anything was recorded of the chain:
measurements are read against floors, and results against the replay chain.`,
		Example: `  heardiff chain correct attic --cost 60 --why "the invoice says so"`,
		Args:    exactArgs("NAME"),
		RunE: func(c *cobra.Command, args []string) error {
			k := study.ChainCorrection{NoCost: cost == "none"}
			for flag, field := range map[string]**string{"about": &k.About, "role": &k.Role, "after": &k.After} {
				if f := c.Flags().Lookup(flag); f.Changed {
					text := f.Value.String()
					*field = &text
				}
			}
			if c.Flags().Changed("cost") && !k.NoCost {
				v, err := strconv.ParseFloat(cost, 64)
				if err != nil {
					return misusedf("--cost %q: a number, or none", cost)
				}
				k.Cost = &v
			}
			if k == (study.ChainCorrection{}) {
				return misusedf("nothing to correct: --about, --cost, --role or --after is wanted")
			}
			return a.inStudy(c.Context(), func(s *study.Study) error {
				chain, err := s.CorrectChain(c.Context(), args[0], k, why)
				if err != nil {
					return err
				}
				return a.mendedChain(c.Context(), s, mendedChain{Done: "corrected", Was: chain.Name, Why: why, Chain: chain}, chainSaid(chain))
			})
		},
	}
	chainFlags(c.Flags(), &about, &role, &after, "")
	c.Flags().StringVar(&cost, "cost", "", "what it costs, in any one `currency`, or none")
	whyFlag(c, &why)
	return c
}

// chainSaid is what a study says of a chain, in a line.
func chainSaid(c study.Chain) string {
	text := fmt.Sprintf("chain %s: %s", c.Name, c.Role)
	if c.After != "" {
		text += ", fed by " + c.After
	}
	if c.Cost != nil {
		text += fmt.Sprintf(", cost %g", *c.Cost)
	}
	if c.About != "" {
		text += ": " + c.About
	}
	return text
}

func (a *app) excerptRemoveCommand() *cobra.Command {
	return a.mending(&cobra.Command{
		Use:   "remove NAME",
		Short: "take an excerpt that no plan plays out of the study",
		Long: `Take an excerpt, and the doses that were put into it, out of the study and delete its files. The
record keeps what it was, and why it went. What a plan plays stays: results may rest on it.`,
		Example: `  heardiff excerpt remove suite-30s --why "cut in the wrong place"`,
		Args:    exactArgs("NAME"),
	}, func(ctx context.Context, s *study.Study, args []string, why string) error {
		e, err := s.RemoveExcerpt(ctx, args[0], why)
		if err != nil {
			return err
		}
		result := struct {
			Schema  string `json:"schema"`
			Excerpt string `json:"excerpt"`
			Files   int    `json:"files"`
			Why     string `json:"why"`
		}{"heardiff.excerpt_removed/1", e.Name, len(e.Presentations), why}
		return a.printStep(ctx, s, result, func(w io.Writer) {
			fmt.Fprintf(w, "excerpt %s (%s) is out of the study; the record keeps that it was there\n", e.Name, trials.Counted(len(e.Presentations), "file"))
		})
	})
}
