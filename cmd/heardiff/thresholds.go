package main

import (
	"fmt"
	"io"
	"math"

	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

// thresholdsText prints the thresholds of a study; nothing where there are none.
func thresholdsText(w io.Writer, all []link.Threshold) {
	if len(all) == 0 {
		return
	}
	fmt.Fprint(w, "\nThresholds: the dose at which half of what can be distinguished is distinguished\n")
	t := newTable("ladder", "excerpt", "who", "threshold", "95 % from", "to", "unit", "below the music (dB)", "trials", "slope", "lapse", "fit p")
	t.right(3, 4, 5, 7, 8, 9, 10, 11)
	for _, h := range all {
		found, unit := link.Scaled(h.Unit, h.Threshold, h.ThresholdInterval[0], h.ThresholdInterval[1])
		t.row(h.What, h.Excerpt, whose(h.Kind, h.Listener, h.Group, h.Listeners)+notOfPeople(h.Simulated, h.Silent), plainDigits(found[0]), plainDigits(found[1]), plainDigits(found[2]), unit,
			figure(h.BelowMusicDB, "%.0f"), fmt.Sprint(h.Trials), figure(h.Slope, "%.1f"), figure(h.Lapse, "%.3f"), link.Probability(h.FitP))
	}
	t.print(w, "")
	for _, h := range all {
		if h.Kind == "all" || math.IsNaN(h.Threshold) || h.Shallow() {
			fmt.Fprintf(w, "\n%s\n", h.Says)
		}
	}
}

// whose names a listener, or of how many a mean is.
func whose(kind, listener, group string, listeners int) string {
	switch kind {
	case "all":
		return fmt.Sprintf("mean of %d", listeners)
	case "group":
		return fmt.Sprintf("mean of %s (%d)", group, listeners)
	}
	return listener
}

// thresholdDifferencesText prints how the thresholds of the ladders compare; nothing where no two do.
func thresholdDifferencesText(w io.Writer, all []link.ThresholdDifference) {
	if len(all) == 0 {
		return
	}
	fmt.Fprint(w, "\nThresholds against one another: the one for B less the one for A, in dB; below 0, less of B is needed\n")
	t := newTable("respect", "A", "B", "who", "B less A (dB)", "95 % from", "to")
	t.right(4, 5, 6)
	for _, d := range all {
		t.row(d.Of, d.A+" in "+d.AExcerpt, d.B+" in "+d.BExcerpt, whose(d.Kind, d.Listener, d.Group, d.Listeners)+notOfPeople(d.Simulated, d.Silent),
			figure(d.DifferenceDB, "%+.1f"), figure(d.IntervalDB[0], "%+.1f"), figure(d.IntervalDB[1], "%+.1f"))
	}
	t.print(w, "")
	for _, d := range all {
		if d.Kind == "all" || len(all) == 1 {
			fmt.Fprintf(w, "\n%s\n", d.Says)
		}
	}
}

// againstText compares the chains, and the results of their tests, with the thresholds.
func againstText(w io.Writer, r link.Result) {
	for _, m := range r.Margins {
		fmt.Fprintf(w, "\n%s\n", m.Says)
	}
	for _, p := range r.Predictions {
		fmt.Fprintf(w, "\n%s\n", p.Says)
	}
	if len(r.Published) == 0 {
		return
	}
	fmt.Fprint(w, "\nPublished thresholds of jitter, found in other ways with other signals: for orientation, no standard\n")
	for _, p := range r.Published {
		fmt.Fprintf(w, "  %s\n", p.Citation)
	}
}

// sessionThresholdsText prints what single sessions say of their ladders: trainings day by day, and drift within a session.
func sessionThresholdsText(w io.Writer, r study.ResultsReport) {
	t := newTable("training", "listener", "day", "ladder", "threshold", "95 % from", "to", "unit", "trials")
	t.right(4, 5, 6, 8)
	trained := false
	for _, s := range r.Sessions {
		for _, h := range s.Thresholds {
			switch {
			case h.Training:
				trained = true
				found, unit := link.Scaled(h.Unit, h.Threshold.Threshold, h.ThresholdInterval[0], h.ThresholdInterval[1])
				t.row(study.ShortID(s.Session), listenerName(s), h.Begun.Format("2006-01-02"), h.What, plainDigits(found[0]),
					plainDigits(found[1]), plainDigits(found[2]), unit, fmt.Sprint(h.Trials))
			case h.Drift != nil:
				fmt.Fprintf(w, "\nsession %s: %s\n", study.ShortID(s.Session), h.Drift.Says)
			}
		}
	}
	if trained {
		fmt.Fprint(w, "\nTraining, with feedback: it counts in no result\n")
		t.print(w, "")
	}
}

// thresholdLines tells a listener the thresholds of a session.
func thresholdLines(r trials.Result) []string {
	all, err := link.OfSession(link.Heard{Listener: "you", Result: r})
	if err != nil {
		return nil
	}
	var lines []string
	for _, h := range all {
		lines = append(lines, "", h.OwnWords())
	}
	return lines
}

// gradedTogether adds up the doses of a threshold run into one row: the thresholds say what is in them.
func gradedTogether(rows []study.ComparisonReport) []study.ComparisonReport {
	var out []study.ComparisonReport
	graded := -1
	for _, c := range rows {
		switch {
		case c.Comparison.Kind != trials.Graded:
			out = append(out, c)
		case graded < 0:
			graded = len(out)
			out = append(out, c)
			out[graded].Comparison.Name = "doses, see the thresholds"
		default:
			out[graded].Correct, out[graded].Trials = out[graded].Correct+c.Correct, out[graded].Trials+c.Trials
		}
	}
	return out
}
