package main

import (
	"heardiff/trials"
	"heardiff/trials/link"
)

func rungSheet() *sheet {
	return &sheet{name: "rungs.csv", columns: []column{
		text("plan", "name of a threshold run"), truth("training", "true: with feedback, counted in no threshold"),
		text("procedure", "how the next dose is chosen: bayes, staircase or constant"), numeric("within_db", "dB", "half-width of the 95 % interval at which a ladder is done, 0: at its most trials"),
		text("ladder", "what is put in"), text("quantity", "random-jitter, periodic-jitter, noise or gain"), text("unit", "of the doses"),
		numeric("low_hz", "Hz", "lowest frequency of jitter, NA: of no jitter, or not known"), numeric("high_hz", "Hz", "highest frequency of jitter"),
		count("most_trials", "trials", "after which the ladder is done"), text("comparison", "name within the plan: of the trials at this dose"),
		numeric("dose", "as in unit", "its size"), numeric("level_db", "dB", "20 log10 of the dose, or the dose where it is a level"),
		numeric("change_db", "dB", "level of what the dose changes, relative to the music")}}
}

// addRungs adds a row a rung of each threshold run.
func addRungs(t *sheet, plans []trials.Plan) {
	for _, p := range plans {
		if p.Threshold == nil {
			continue
		}
		for _, track := range p.Threshold.Tracks {
			low, high := any(""), any("")
			if len(track.BandHz) == 2 {
				low, high = track.BandHz[0], track.BandHz[1]
			}
			for _, r := range track.Rungs {
				t.add(p.ID, p.Threshold.Training, p.Threshold.Procedure.String(), p.Threshold.WithinDB, track.Name, track.Quantity, track.Unit, low, high,
					track.Limit, r.Comparison, r.Dose, r.LevelDB, r.ChangeDB)
			}
		}
	}
}

// ladderColumns say of which ladder a row is, and of whose answers.
func ladderColumns() []column {
	return []column{text("ladder", "what was put in"), text("chain", "whose excerpt"), text("excerpt", "stretch of music"), numeric("chance", "", "proportion of a guesser in the design"),
		text("kind", "listener, group or all"), text("listener", "pseudonym, or all"), text("group", "the listener's group"),
		truth("simulated", "true: a computation answered"), truth("silent", "true: a part or all was answered where no device sounded")}
}

func ladderCells(h link.Threshold) []any {
	return []any{h.What, h.Chain, h.Excerpt, h.Chance, h.Kind, h.Listener, h.Group, h.Simulated, h.Silent}
}

func thresholdSheet() *sheet {
	return &sheet{name: "thresholds.csv", columns: append(ladderColumns(),
		text("quantity", "random-jitter, periodic-jitter, noise or gain"), text("unit", "of the doses"),
		count("listeners", "", "with a threshold that counts here"), count("listeners_without_threshold", "", "whose answers bound none on both sides: in no mean"),
		count("sessions_left_out", "", "void by a control or a mark"), count("trials", "", "answers that count"),
		numeric("threshold", "as in unit", "dose half-way between guessing and the listener's best: where the likelihood, averaged evenly over the slopes and maximised over the lapses below, is largest, by the parabola through the logarithms of the largest value and its two neighbours; of several the mean in dB over listeners (random effects, restricted maximum likelihood)"),
		numeric("threshold_low", "as in unit", "95 % interval: equal tails of the posterior, the lower end of two. First prior: thresholds even every 0.5 dB to 10 dB beyond the ladder; slopes 0.25 to 8 by half octaves, normal in log2 about 1.5 with deviation 3; lapses 0 with weight 10, 0.01, 0.02, 0.03 and 0.04 with weight 1, 0.06 and 0.08 with weight 2. Second: the weights of the slopes over their power 0.75. Of several Hartung and Knapp's"), numeric("threshold_high", "as in unit", "95 % interval, the higher end of the two. An end is NA where the outermost threshold of a prior keeps 0.0025 or more"),
		numeric("threshold_peak", "as in unit, peak", "of periodic jitter, NA: of all else"),
		numeric("threshold_db", "dB", "20 log10 of the threshold, or the threshold where it is a level"), numeric("threshold_db_low", "dB", "95 % interval"), numeric("threshold_db_high", "dB", "95 % interval"),
		numeric("below_music_db", "dB", "how far what the threshold dose changes lies below the music"),
		numeric("slope", "", "s of 1 - 2^-(dose/threshold)^s, posterior geometric mean"), numeric("lapse", "", "posterior mean of the proportion missed at any dose"),
		numeric("between_sd_db", "dB", "standard deviation of thresholds over listeners, NA: of one"),
		numeric("p_fit", "", "how often answers that follow the curve deviate from it as much, by simulation"),
		numeric("threshold_se_db", "dB", "standard deviation of the posterior by the first prior: the mean of several weighs each by it. NA: of several"))}
}

func pointSheet() *sheet {
	return &sheet{name: "threshold_points.csv", columns: append(ladderColumns(),
		numeric("dose", "as in the ladder", "its size"), numeric("level_db", "dB", "20 log10 of the dose, or the dose where it is a level"),
		count("correct", "trials", "right answers"), count("trials", "trials", "answers that count"))}
}

// addThresholds adds a row a threshold, and a row for what was answered at each of its doses.
func addThresholds(t, points *sheet, r link.Result) {
	for _, h := range r.Thresholds {
		t.add(append(ladderCells(h), h.Quantity, h.Unit, h.Listeners, h.WithoutOne, h.LeftOut, h.Trials, h.Threshold, h.ThresholdInterval[0], h.ThresholdInterval[1],
			h.ThresholdPeak, h.ThresholdDB, h.IntervalDB[0], h.IntervalDB[1], h.BelowMusicDB, h.Slope, h.Lapse, h.BetweenSDDB, h.FitP, h.StandardErrorDB)...)
		for _, p := range h.Points {
			points.add(append(ladderCells(h), p.Dose, p.LevelDB, p.Correct, p.Trials)...)
		}
	}
}

func differenceSheet() *sheet {
	return &sheet{name: "threshold_differences.csv", columns: []column{
		text("respect", "in what the two ladders differ"), text("ladder_a", "what was put in"), text("ladder_b", "what was put in"),
		text("excerpt_a", "stretch of music"), text("excerpt_b", "stretch of music"), text("chain", "whose excerpts"),
		text("kind", "listener, group or all"), text("listener", "pseudonym, or all"), text("group", "the listener's group"),
		truth("simulated", "true: a computation answered"), truth("silent", "true: a part or all was answered where no device sounded"),
		count("listeners", "", "who have both thresholds"), count("listeners_without_difference", "", "who lack one of the two: in no mean"),
		numeric("difference_db", "dB", "threshold for B less that for A; of several the mean over listeners, paired (random effects, restricted maximum likelihood)"),
		numeric("difference_low_db", "dB", "95 % interval: of a listener the distances to the ends of both intervals added in squares; of several Hartung and Knapp's"),
		numeric("difference_high_db", "dB", "95 % interval"), numeric("between_sd_db", "dB", "standard deviation of the difference over listeners, NA: of one"),
		numeric("difference_se_db", "dB", "root of the two thresholds' squared standard errors: the mean of several weighs each by it. NA: of several")}}
}

func addDifferences(t *sheet, r link.Result) {
	for _, d := range r.ThresholdDifferences {
		t.add(d.Of, d.A, d.B, d.AExcerpt, d.BExcerpt, d.Chain, d.Kind, d.Listener, d.Group, d.Simulated, d.Silent, d.Listeners, d.WithoutOne,
			d.DifferenceDB, d.IntervalDB[0], d.IntervalDB[1], d.BetweenSDDB, d.StandardErrorDB)
	}
}
