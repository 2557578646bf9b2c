package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

// exportTables writes the study's tables and their dictionary into dir, all or none.
func (a *app) exportTables(ctx context.Context, s *study.Study, dir string) error {
	sheets := []*sheet{sessionSheet(), trialSheet(), resultSheet(), measurementSheet(), planSheet(), lookSheet(), familySheet(),
		rungSheet(), thresholdSheet(), pointSheet(), differenceSheet(), dictionarySheet()}
	var files []folderFile
	for _, t := range sheets {
		files = append(files, folderFile{name: t.name, kind: tableOf(t.columns[0].name)})
	}
	to, err := a.folderDestination(dir, files)
	if err != nil {
		return err
	}
	l, err := a.linkStudy(ctx)
	if err != nil {
		return err
	}
	err = to.write(func(dir string) error { return a.fillTables(ctx, s, l, sheets, dir) })
	if err != nil {
		return fmt.Errorf("write tables: %w", err)
	}
	return a.printTables(dir, sheets)
}

// fillTables writes sheets, in the order of exportTables, as files in dir.
func (a *app) fillTables(ctx context.Context, s *study.Study, l linked, sheets []*sheet, dir string) error {
	for _, t := range sheets {
		defer t.end()
		if err := t.begin(dir); err != nil {
			return err
		}
	}
	if err := a.addSessions(ctx, s, sheets[0], sheets[1]); err != nil {
		return err
	}
	addResults(sheets[2], l.Result)
	addMeasurements(sheets[3], l.Result)
	addPlans(sheets[4], sheets[5], l.Plans, l.Input.Family)
	addFamily(sheets[6], l.Input.Family)
	addRungs(sheets[7], l.Plans)
	addThresholds(sheets[8], sheets[9], l.Result)
	addDifferences(sheets[10], l.Result)
	addDictionary(sheets[11], sheets)
	for _, t := range sheets {
		if err := t.end(); err != nil {
			return err
		}
		t.file = nil
	}
	return nil
}

func (a *app) printTables(dir string, sheets []*sheet) error {
	type written struct {
		File string `json:"file"`
		Rows int    `json:"rows"`
	}
	r := struct {
		Schema string    `json:"schema"`
		Tables []written `json:"tables"`
	}{Schema: "heardiff.tables/1"}
	for _, t := range sheets {
		r.Tables = append(r.Tables, written{filepath.Join(dir, t.name), t.rows})
	}
	return a.print(r, func(w io.Writer) {
		for _, t := range r.Tables {
			fmt.Fprintf(w, "%s: %s\n", printable.Text(t.File), trials.Counted(t.Rows, "row"))
		}
	})
}

func sessionSheet() *sheet {
	return &sheet{name: "sessions.csv", columns: []column{
		text("session", "id of the session"), text("site", "fingerprint of the site where it was run, NA: here"),
		text("plan", "plan worked through"), text("listener", "pseudonym"), text("group", "the listener's group"),
		truth("simulated", "true: a computation answered, not a person"), truth("silent", "true: a part or all was answered where no device sounded"),
		text("device", "what it was heard through, every device used"),
		text("design", trials.DesignNames()), truth("given_up", "true: ended early"),
		text("stopped", "boundary of a sequential plan that ended it: heard or ruled out, NA: none"),
		count("voids", "trials", "trials made void and asked anew"), count("flags", "events", "disturbances noted"),
		count("hurried", "trials", "scored answers given before everything required had sounded long enough"),
		text("begun", "first entry, UTC"), text("ended", "last entry, UTC"),
		count("arrived", "", "entry of the study's record with which its end became known here: evidence is added up in this order; 0: ended before the record was kept, by its end")}}
}

func trialSheet() *sheet {
	return &sheet{name: "trials.csv", columns: slices.Concat([]column{
		text("session", "id of the session"), text("listener", "pseudonym"), count("trial", "", "number within the session"),
		text("comparison", "name within the plan"), text("kind", "scored, practice, positive control, negative control or graded: a dose of a threshold run, see rungs.csv"),
		text("a", "chain A"), text("b", "chain B"), text("excerpt", "stretch of music"), text("truth", "the answer that was right"),
		text("answer", "the answer given, NA: void"), truth("correct", "true where they agree, NA: void"), text("void", "why it was void, NA: it counts"),
		count("confidence", "1 to 4", "how sure the listener was, 0: not said"), numeric("seconds", "s", "from offer to confirmed answer"),
		count("switches", "key presses", "what to hear was chosen"), text("flags", "disturbances noted")},
		soundedColumns(), []column{
			numeric("answer_s", "s", "from offer to answer on the sample clock, NA: not known"),
			truth("hurried", "true: given before everything required had sounded long enough"), text("at", "when it was confirmed, UTC")})}
}

// soundedColumns hold, for each label that any design has, how long it sounded in a trial.
func soundedColumns() []column {
	var all []column
	for _, l := range trials.AllLabels() {
		all = append(all, numeric("heard_"+l.String()+"_s", "s", "for how long "+strings.ToUpper(l.String())+" sounded, NA: not of the design, or not known"))
	}
	return all
}

// addSessions adds a row a session, and a row a trial of those that have ended.
func (a *app) addSessions(ctx context.Context, s *study.Study, all, each *sheet) error {
	sessions, err := s.Sessions(ctx)
	if err != nil {
		return err
	}
	_, listeners, err := s.PlansAndListeners(ctx)
	if err != nil {
		return err
	}
	arrivals, err := s.Arrivals(ctx)
	if err != nil {
		return err
	}
	progress := a.progress("write the trials")
	defer progress(1)
	for i, v := range sessions {
		progress(float64(i) / float64(len(sessions)))
		r, err := s.RevealStored(ctx, v)
		if errors.Is(err, trials.ErrBlind) {
			continue // nothing of a running session leaves the study
		}
		if err != nil {
			return study.Damaged(v, err)
		}
		l := listeners[v.Listener]
		all.add(v.ID, v.Site, v.Plan, v.Listener, l.Group, l.Simulated, r.Silent, devicesOf(v, r), r.Plan.Design.String(), r.GivenUp, string(r.Stopped), r.Voids, r.Flags, r.Hurried, r.Begun, r.Ended, arrivals[v.ID])
		addTrials(each, v, r)
	}
	return nil
}

func addTrials(each *sheet, v study.Session, r trials.Result) {
	comparisons := map[string]trials.Comparison{}
	for _, c := range r.Plan.Comparisons {
		comparisons[c.Name] = c
	}
	for _, t := range r.Trials {
		c := comparisons[t.Comparison]
		var correct any = t.Correct
		if t.Void != "" {
			correct = ""
		}
		timed := timesOf(t)
		each.add(append([]any{v.ID, v.Listener, t.Trial, t.Comparison, t.Kind.String(), c.A, c.B, c.Excerpt, t.Truth.String(), t.Answer.String(),
			correct, t.Void, t.Confidence, t.Seconds, t.Switches, strings.Join(t.Flags, "; ")}, append(timed, t.Hurried, t.At)...)...)
	}
}

// timesOf returns for how long each label of any design sounded in a trial, and how long the answer took: NaN where that
// is not known.
func timesOf(t trials.TrialResult) []any {
	var all []any
	for _, l := range trials.AllLabels() {
		s, known := t.HeardS[l]
		if !known {
			s = math.NaN()
		}
		all = append(all, s)
	}
	took := math.NaN()
	if t.AnswerS != nil {
		took = *t.AnswerS
	}
	return append(all, took)
}

// devicesOf returns every device of a session, or what its row says where its entries name none.
func devicesOf(v study.Session, r trials.Result) string {
	if len(r.Devices) == 0 {
		return v.Device
	}
	return strings.Join(r.Devices, "; ")
}

func resultSheet() *sheet {
	return &sheet{name: "results.csv", columns: []column{
		text("comparison", "name"), text("a", "chain A"), text("b", "chain B"), text("excerpt", "stretch of music"), text("design", trials.DesignNames()),
		text("kind", "listener, group or all"), text("listener", "pseudonym, or all"), text("group", "the listener's group"),
		count("listeners", "", "listeners in the row"), count("sessions", "", "sessions in the row"),
		truth("simulated", "true: a computation answered"), truth("silent", "true: a part or all was answered where no device sounded"), text("treatment", "known impairment that B carries, NA: none"),
		numeric("dose", "as in the treatment", "its size"), count("trials", "", "scored trials"), count("correct", "", "right answers"),
		numeric("proportion", "", "correct / trials"), numeric("chance", "", "proportion of a guesser in the design"), numeric("p_value", "", "one-sided, exact"), numeric("log10_p_value", "", "its decimal logarithm: no underflow"),
		numeric("p_two_sided", "", "two-sided, exact"), numeric("p_holm", "", "p_study under its earlier name"), numeric("p_study", "", "corrected over every comparison, listener, group, repeat and look of the study: it decides"),
		numeric("clopper_pearson_low", "", "95 % interval of the proportion"), numeric("clopper_pearson_high", "", "95 % interval of the proportion"),
		numeric("d_prime", "", "by the model usual for the design (abx: independent observations; triangle: distances), NA at a perfect score"), numeric("p_d_upper", "", "one-sided upper bound of the proportion of discriminators, at confidence 1 - alpha for each row by itself, valid over repeats and looks"),
		numeric("e_value", "", "likelihood of p uniform between chance and 1 over that of chance: evidence against guessing, NA of pairs"), numeric("alpha", "", "level of the plan"),
		numeric("smallest_effect", "", "smallest proportion of discriminators worth finding"),
		count("hits", "trials", "duplicate pairs: different, and said so; NA in ABX"), count("misses", "trials", "duplicate pairs: different, called the same"),
		count("false_alarms", "trials", "duplicate pairs: the same, called different"), count("correct_rejections", "trials", "duplicate pairs: the same, and said so"),
		count("positive_trials", "trials", "plain differences offered"), count("positive_correct", "trials", "plain differences heard"),
		count("negative_trials", "trials", "the same audio twice"), count("negative_correct", "trials", "answers that happened to be right there"),
		text("verdict", "heard, ruled out, undecided or void"), count("trials_to_settle", "trials", "size of a fresh plan of this listener with a chance of 0.8 both to find and to rule out the smallest effect at the risk that is left, 0: decided, none in reach, or several listeners"),
		text("reason", "why")}}
}

func addResults(t *sheet, r link.Result) {
	for _, v := range r.Rows {
		hits, misses, alarms, rejections := any(""), any(""), any(""), any("")
		if p := v.Pairs; p != nil {
			hits, misses, alarms, rejections = p.Hits, p.Misses, p.FalseAlarms, p.CorrectRejections
		}
		t.add(v.Comparison, v.A, v.B, v.Excerpt, v.Design, v.Kind, v.Listener, v.Group, v.Listeners, v.Sessions, v.Simulated, v.Silent, v.Treatment, v.Dose,
			v.Trials, v.Correct, v.Proportion, v.Chance, v.P, v.Log10P, v.PTwoSided, v.PStudy, v.PStudy, v.ClopperPearson[0], v.ClopperPearson[1], v.DPrime, v.UpperPD,
			v.EValue, v.Alpha, v.Smallest, hits, misses, alarms, rejections, v.Positive.Trials, v.Positive.Correct, v.Negative.Trials, v.Negative.Correct,
			string(v.Verdict), v.TrialsToSettle, v.Reason)
	}
}

func planSheet() *sheet {
	return &sheet{name: "plans.csv", columns: []column{
		text("plan", "name"), text("hash", "SHA-256 of the plan"), text("design", trials.DesignNames()),
		text("order", "independent: a fair coin each trial; balanced: whole rounds of every assignment, shuffled"), text("layout", "interleaved or blocked comparisons"),
		text("stopping", "fixed: all trials; else the boundary that ends a session, its counts in looks.csv"),
		numeric("alpha", "", "one-sided level"), numeric("smallest_effect", "", "smallest proportion of discriminators worth finding"),
		truth("single_blind", "true: run by a helper who knows what is connected"), numeric("least_s", "s", "for how long a trial's sounds must be heard: an answer given earlier is marked as hurried"),
		text("comparison", "name within the plan"), text("kind", "scored, practice, positive control, negative control or graded: a dose of a threshold run, see rungs.csv"),
		text("a", "chain A"), text("b", "chain B"), text("excerpt", "stretch of music"), text("audio_a", "SHA-256 of what was played for A"),
		text("audio_b", "SHA-256 of what was played for B"), count("trials", "", "planned"),
		truth("foreseen", "true: made before the study's first session, its comparisons share alpha in equal parts")}}
}

func familySheet() *sheet {
	return &sheet{name: "family.csv", columns: []column{
		numeric("alpha", "", "the risk that all 'heard' of the study share"), count("listeners", "", "for how many it is planned"),
		count("comparisons", "", "for how many it is planned"), text("group", "a group that was planned, NA: none"),
		count("group_listeners", "", "listeners planned in it")}}
}

// addFamily adds a row a group that was planned, or one row.
func addFamily(t *sheet, f link.Family) {
	if len(f.Groups) == 0 {
		t.add(f.Alpha, f.Listeners, f.Comparisons, "", "")
	}
	for _, g := range slices.Sorted(maps.Keys(f.Groups)) {
		t.add(f.Alpha, f.Listeners, f.Comparisons, g, f.Groups[g])
	}
}

func lookSheet() *sheet {
	return &sheet{name: "looks.csv", columns: []column{
		text("plan", "name of a sequential plan"), count("look", "", "number"), count("trials", "", "scored trials at the look"),
		count("heard_at", "trials", "the session ends at 'heard' with so many right or more; more than trials: never"),
		count("ruled_out_at", "trials", "it ends at 'ruled out' with so many right or fewer; -1: never")}}
}

// addPlans adds a row a comparison of each plan, and a row a look of those that are sequential.
func addPlans(t, looks *sheet, plans []trials.Plan, f link.Family) {
	for _, p := range plans {
		stopping := "fixed"
		if p.Looks != nil {
			stopping = cmp.Or(p.Looks.Boundary, "unnamed")
			for i, n := range p.Looks.Trials {
				looks.add(p.ID, i+1, n, p.Looks.Heard[i], p.Looks.RuledOut[i])
			}
		}
		for _, c := range p.Comparisons {
			t.add(p.ID, p.HashText(), p.Design.String(), p.Order.String(), p.Layout.String(), stopping, p.Alpha, p.SmallestEffect, p.SingleBlind, p.LeastSeconds,
				c.Name, c.Kind.String(), c.A, c.B, c.Excerpt, c.AudioA, c.AudioB, c.Trials, f.Foresees(p))
		}
	}
}

func measurementSheet() *sheet {
	return &sheet{name: "measurements.csv", columns: []column{
		text("a", "chain A"), text("b", "chain B"), text("excerpt", "stretch of music"), text("metric", "what was measured; its unit is in the name"),
		numeric("value_a", "as in the name", "of chain A"), numeric("value_b", "as in the name", "of chain B"), numeric("difference", "as in the name", "B less A, NA: not measurable"),
		numeric("uncertainty", "as in the name", "standard error of the difference over repeated captures"), numeric("limit", "as in the name", "of the figures themselves: a bound, or the least that the captures could tell"),
		count("captures_a", "", "captures of chain A"), count("captures_b", "", "captures of chain B"), truth("entered", "true: either was entered by hand, not measured here"),
		numeric("a_at_most", "as in the name", "chain A is at most this, NA: measured, or not known"), numeric("b_at_most", "as in the name", "chain B likewise"),
		numeric("difference_beyond", "as in the name", "the difference has this sign and is at least as large, NA: measured, or not known"),
		numeric("floor", "as in the name", "of the recording set-up alone"), truth("entered_a", "true: chain A's was entered"), truth("entered_b", "true: chain B's was entered")}}
}

func addMeasurements(t *sheet, r link.Result) {
	seen := map[[3]string]bool{}
	for _, v := range r.Rows {
		id := [3]string{v.A, v.B, v.Excerpt}
		if seen[id] {
			continue
		}
		seen[id] = true
		for _, p := range v.Measured.Figures {
			t.add(v.A, v.B, v.Excerpt, string(p.Metric), p.A, p.B, p.Difference, p.Uncertainty, p.Limit, p.CapturesA, p.CapturesB, p.Entered,
				p.AAtMost, p.BAtMost, p.DifferenceBeyond, p.Floor, p.EnteredA, p.EnteredB)
		}
	}
}

func dictionarySheet() *sheet {
	return &sheet{name: "data_dictionary.csv", columns: []column{text("table", "file"), text("column", "name"),
		text("class", "type, as R's colClasses names it"), text("unit", "NA: none"), text("means", "what it is")}}
}

// addDictionary describes every column of every table but its own.
func addDictionary(d *sheet, sheets []*sheet) {
	for _, t := range sheets {
		for _, c := range t.columns {
			if t != d {
				d.add(t.name, c.name, c.class, c.unit, c.means)
			}
		}
	}
}
