package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"heardiff/trials"
	"heardiff/trials/study"
)

// completionWait is how long a shell waits at the tab key for a study on a server (judgement, no source; no figure depends on it).
const completionWait = 2 * time.Second

// offers returns what of a study fits a place of the command line.
type offers func(ctx context.Context, s *study.Study) ([]cobra.Completion, error)

// offered are the words that the help uses for what a study holds, as the value of a flag or as an argument.
var offered = map[string]offers{
	"chain":   offering((*study.Study).Chains, func(c study.Chain) (word, about string) { return c.Name, c.About }),
	"capture": offering((*study.Study).Captures, func(c study.Capture) (word, about string) { return fmt.Sprint(c.ID), c.Chain + ", " + c.Kind }),
	"excerpt": offering((*study.Study).Excerpts, func(e study.Excerpt) (word, about string) {
		return e.Name, fmt.Sprintf("%s, %.1f s from %.1f s", e.Music, e.Seconds, e.StartS)
	}),
	"plan":     offering((*study.Study).Plans, func(p trials.Plan) (word, about string) { return p.ID, planInShort(p) }),
	"listener": offering((*study.Study).Listeners, func(l study.Listener) (word, about string) { return l.ID, l.Group }),
	"session": offering((*study.Study).SessionList, func(v study.ListedSession) (word, about string) {
		return study.ShortID(v.Session), v.Listener + ", plan " + v.Plan
	}),
	"piece": offerPieces,
}

// offering offers each of a list of the study by a word and what it is about.
func offering[T any](list func(*study.Study, context.Context) ([]T, error), one func(T) (word, about string)) offers {
	return func(ctx context.Context, s *study.Study) ([]cobra.Completion, error) {
		all, err := list(s, ctx)
		var words []cobra.Completion
		for _, v := range all {
			words = append(words, cobra.CompletionWithDesc(one(v)))
		}
		return words, err
	}
}

// arguments of commands, by their order; what comes after the last is a file.
var offeredArguments = map[string]string{
	"heardiff capture add": "chain", "heardiff capture remove": "capture", "heardiff capture refile": "capture",
	"heardiff chain correct": "chain", "heardiff chain rename": "chain", "heardiff chain remove": "chain", "heardiff measure enter": "chain",
	"heardiff excerpt remove": "excerpt", "heardiff plan show": "plan", "heardiff listener forget": "listener", "heardiff results": "session",
}

// completeFromStudy has a shell complete, at the tab key, what the study holds: each flag whose value has such a word in the help, and
// the first argument of commands that take one.
func (a *app) completeFromStudy(c *cobra.Command) {
	for _, sub := range c.Commands() {
		a.completeFromStudy(sub)
	}
	if what, ok := offeredArguments[c.CommandPath()]; ok {
		offer := a.offer(what)
		c.ValidArgsFunction = func(c *cobra.Command, args []string, typed string) ([]cobra.Completion, cobra.ShellCompDirective) {
			if len(args) > 0 {
				return nil, cobra.ShellCompDirectiveDefault
			}
			return offer(c, args, typed)
		}
	}
	c.LocalFlags().VisitAll(func(f *pflag.Flag) {
		value, _ := pflag.UnquoteUsage(f)
		if _, ok := offered[value]; !ok {
			return
		}
		if err := c.RegisterFlagCompletionFunc(f.Name, a.offer(value)); err != nil {
			panic("completion of --" + f.Name + ": " + err.Error()) // never happens: the flag exists
		}
	})
}

// offer asks the study for something. Where there is no study, or none that can be read, nothing is offered and nothing is said.
func (a *app) offer(what string) cobra.CompletionFunc {
	return func(c *cobra.Command, _ []string, _ string) ([]cobra.Completion, cobra.ShellCompDirective) {
		ctx, stop := context.WithTimeout(c.Context(), completionWait)
		defer stop()
		s, err := study.Open(ctx, a.studyFolder(), &study.Host{Getenv: a.getenv})
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		defer s.Close()
		all, err := offered[what](ctx, s)
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return all, cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
	}
}

// offerPieces offers each piece of music once.
func offerPieces(ctx context.Context, s *study.Study) ([]cobra.Completion, error) {
	all, err := s.Captures(ctx)
	seen := map[string]bool{"": true}
	var pieces []cobra.Completion
	for _, c := range all {
		if !seen[c.Music] {
			pieces = append(pieces, c.Music)
		}
		seen[c.Music] = true
	}
	return pieces, err
}

// planInShort is a plan's design and first comparison.
func planInShort(p trials.Plan) string {
	about := p.Design.String()
	if len(p.Comparisons) > 0 {
		about += ", " + p.Comparisons[0].Name
	}
	return about
}
