package main

import (
	"fmt"
	"io"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

// whatDiagnosticsAre is the text above them: 1 − 0.95⁷ = 0.30.
const whatDiagnosticsAre = `They describe how the session went. No trial is left out for them and no result changed.
Each p is taken alone, two-sided but for the longest rows: of seven such figures one or more
falls below 0.05 by chance in up to three of ten sessions.`

func diagnosticsText(w io.Writer, r study.ResultsReport) {
	for _, s := range r.Sessions {
		if s.Diagnostics != nil {
			fmt.Fprintf(w, "\nDiagnostics of the %s\n%s\n\n", trials.Counted(s.Diagnostics.Trials, "scored trial"), whatDiagnosticsAre)
			writeDiagnostics(w, *s.Diagnostics)
		}
	}
}

func writeDiagnostics(w io.Writer, d stats.Diagnostics) {
	t := newTable("", "found", "expected", "p")
	t.right(3)
	t.row("right, first half", countText(d.Halves.First), "as the second", link.Probability(d.Halves.P))
	t.row("right, second half", countText(d.Halves.Second), "", "")
	t.row("trend over trials (z)", decimals(d.Trend.Z), "0", link.Probability(d.Trend.P))
	t.row("runs of right and wrong", fmt.Sprint(d.RightWrong.Runs), decimals(d.RightWrong.Expected), link.Probability(d.RightWrong.P))
	if d.Bias.Trials > 0 { // nothing is said of the answers of a design that has more than two
		answerRows(t, d)
	}
	t.print(w, "")
	for _, n := range d.Notes {
		fmt.Fprintf(w, "note: %s\n", n)
	}
}

func answerRows(t *table, d stats.Diagnostics) {
	t.row("second answer given", fmt.Sprintf("%d of %d", d.Bias.Second, d.Bias.Trials), "half", link.Probability(d.Bias.P))
	t.row("runs of equal answers", fmt.Sprint(d.Answers.Runs), decimals(d.Answers.Expected), link.Probability(d.Answers.P))
	t.row("same answer as before", fmt.Sprintf("%d of %d", d.Pattern.Repeats, d.Pattern.Of), "", "")
	t.row("longest row of one answer", fmt.Sprint(d.Pattern.LongestSame), "", link.Probability(d.Pattern.PSame))
	t.row("longest row alternating", fmt.Sprint(d.Pattern.LongestAlternating), "", link.Probability(d.Pattern.PAlternating))
}

func countText(c stats.Count) string { return fmt.Sprintf("%d of %d", c.Correct, c.Trials) }
