package link

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"heardiff/stats"
	"heardiff/trials"
)

// Verdict is the judgement of a row.
type Verdict string

// The verdicts.
const (
	HeardIt   Verdict = "heard"
	RuledOut  Verdict = "ruled out"
	Undecided Verdict = "undecided"
	Void      Verdict = "void"
)

// Confound is something other than the chains' jitter and noise that could explain a result. Voids says that it is large
// enough to be heard itself.
type Confound struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	Limit float64 `json:"limit"`
	Unit  string  `json:"unit"`
	Voids bool    `json:"voids"`
	Says  string  `json:"says"`
	// InReason marks a confound that the reason of the verdict already mentions.
	InReason bool `json:"-"`
}

func (c Confound) voids() bool { return c.Voids }

// Limits of the residual differences between two presentations. Level: the match used in a published long blind comparison,
// under 0.1 dB per channel (Meyer and Moran, supplement to JAES 55(9), 2007). Alignment: common practice, no source. Response:
// the smallest just-noticeable difference in level of most sounds, 0.5 dB (Open University, OpenLearn "Hearing", 10.3).
const (
	levelLimitDB    = 0.1
	offsetLimitUS   = 10
	responseNoteDB  = 0.1
	responseLimitDB = 0.5
	loudnessNoteLU  = 0.1
	noiseNoteDB     = 3 // common practice, no source: a doubling of noise power
)

func confounds(r *tallied, p Pairing) []Confound {
	var out []Confound
	over := func(name, unit string, v, limit float64, voids bool, what string) {
		if math.Abs(v) > limit {
			out = append(out, Confound{Name: name, Value: v, Limit: limit, Unit: unit, Voids: voids, Says: fmt.Sprintf("%s: %+.3g %s, more than %.3g %s", what, v, unit, limit, unit)})
		}
	}
	if p.Treatment != "" {
		return procedure(r) // every difference between an excerpt and itself with a dose is due to the dose
	}
	over("level", "dB", p.LevelErrorDB, levelLimitDB, true, "level left unequal")
	over("alignment", "µs", p.OffsetErrorUS, offsetLimitUS, true, "presentations out of step")
	if math.Abs(p.ResponseMaxDB) >= responseLimitDB {
		over("response", "dB", p.ResponseMaxDB, responseLimitDB*(1-1e-12), true, "frequency response differs, enough to be heard by itself")
	} else {
		over("response", "dB", p.ResponseMaxDB, responseNoteDB, false, "frequency response differs")
	}
	over("loudness", "LU", p.LoudnessDifferenceLU, loudnessNoteLU, false, "loudness differs")
	over("noise", "dB", r.Measured.Of(Noise).Difference, noiseNoteDB, false, "noise differs besides jitter")
	over("hum", "dB", r.Measured.Of(Hum).Difference, noiseNoteDB, false, "hum differs besides jitter")
	if p.BitPerfect != nil && !*p.BitPerfect {
		out = append(out, Confound{Name: "integrity", Value: math.NaN(), Limit: math.NaN(), Says: "one chain does not deliver the words it was sent"})
	}
	if p.Identical {
		out = append(out, Confound{Name: "identical", Value: math.NaN(), Limit: math.NaN(), Says: "the two presentations are identical sample by sample: a control; what is heard of it is chance, or a fault of the procedure"})
	}
	return append(out, procedure(r)...)
}

// procedure lists what in the conduct of the sessions weakens the result.
func procedure(r *tallied) []Confound {
	var out []Confound
	voids, flags, gaveUp, helper, hurried, silent := 0, 0, 0, 0, 0, 0
	for _, h := range r.heard {
		voids, flags, hurried = voids+h.Voids, flags+h.Flags, hurried+h.Hurried
		if h.Silent {
			silent++
		}
		for _, m := range h.Marks {
			out = append(out, Confound{Name: "blindness", Value: math.NaN(), Limit: math.NaN(), Voids: m.Voids, Says: fmt.Sprintf("session %.12s: %s", h.Session, m.Says)})
		}
		if h.GivenUp {
			gaveUp++
		}
		if h.Plan.SingleBlind {
			helper++
		}
	}
	add := func(name string, n int, one, was, were, rest string) {
		if n == 0 {
			return
		}
		if n == 1 {
			were = was
		}
		out = append(out, Confound{Name: name, Value: float64(n), Says: trials.Counted(n, one) + " " + were + rest})
	}
	add("silent", silent, "session", "was", "were", " answered, wholly or in part, where no device sounded: nobody can have heard anything there")
	add("hurried", hurried, "answer", "was", "were", " hurried: given before everything required had sounded for as long as the plan demands")
	add("single blind", helper, "session", "was", "were", " run by a helper who knew what was connected")
	add("given up", gaveUp, "session", "", "", "ended early, so that the number of trials was not the plan’s")
	add("void trials", voids, "trial", "was", "were", " void and repeated")
	add("playback", flags, "event", "in playback was", "in playback were", " flagged")
	return out
}

// mask is a figure in which the replay chain exceeds the chains under test, so that the test could not reveal a difference.
type mask struct {
	metric Metric
	says   string
}

// masked returns the figures in which the replay chain itself exceeds the chains under test.
func masked(m Measured, chains []Chain) []mask {
	var out []mask
	for _, c := range chains {
		if c.Role != "replay" {
			continue
		}
		for _, p := range m.Figures {
			own, _ := c.figure(p.Metric)
			larger := math.Max(p.A, p.B)
			if own >= larger && !p.none() { // false if either is unknown: a replay chain at its floor only has an upper bound
				has, unit := inWords(p.Unit, own, larger)
				out = append(out, mask{p.Metric, fmt.Sprintf("%s: the replay chain %q has %s %s, the chains under test at most %s", p.Name, c.Name, has[0], unit, has[1])})
			}
		}
	}
	return out
}

// decide gives the verdict by the rules of the package comment.
func decide(r *tallied, m memo) {
	r.Verdict, r.Reason = plain(r)
	switch {
	case r.leak != nil:
		r.Verdict = Void
		r.Reason = fmt.Sprintf("the negative control was passed, %d of %d right where both sounds were the same: something other than sound gives the answers away", r.leak.Correct, r.leak.Trials)
	case len(r.sittings) == 0:
		r.Verdict, r.Reason = Void, allVoidWords(r.LeftOut)
	case r.Verdict == HeardIt && slices.ContainsFunc(r.Confounds, Confound.voids):
		r.Verdict = Void
		r.Reason = "told apart, but " + cited(r.Confounds, Confound.voids) + ": that alone could be what was heard"
	case r.Verdict != HeardIt && r.Kind == "listener" && allInattentive(r.sittings):
		r.Verdict = Void
		r.Reason = fmt.Sprintf("the positive control was missed, %d of %d right where the sounds differ plainly: missing others shows nothing", r.Positive.Correct, r.Positive.Trials)
	case r.Verdict == HeardIt && len(r.Confounds) > 0:
		r.Reason = r.Reason + ". What else could explain it: " + cited(r.Confounds, func(Confound) bool { return true })
	case r.Verdict == RuledOut && coversJitterAndNoise(r):
		r.Verdict, r.Hidden = Undecided, true
		r.Reason = "the test could not have shown it: " + strings.Join(r.Masked, "; ")
	case r.Verdict == RuledOut:
		weaken(r)
	}
	if r.Verdict == Undecided && r.Kind == "listener" && !coversJitterAndNoise(r) {
		settle(r, m)
	}
	if r.LeftOut > 0 && len(r.sittings) > 0 {
		r.Reason += "; " + leftOutWords(r.LeftOut)
	}
}

func allVoidWords(n int) string {
	if n == 1 {
		return "the only session is void"
	}
	return fmt.Sprintf("all %d sessions are void", n)
}

func leftOutWords(n int) string {
	if n == 1 {
		return "a session that its controls make void is left out"
	}
	return fmt.Sprintf("%d sessions that their controls make void are left out", n)
}

func allInattentive(all []sitting) bool {
	for _, s := range all {
		if !s.inattentive {
			return false
		}
	}
	return true
}

// Says is the row in a sentence: who, what, the verdict and why. Everything that shows a verdict prints it.
func (r Row) Says() string {
	who := r.Listener
	switch r.Kind {
	case "group":
		who = "group " + r.Group
	case "all":
		who = "all " + trials.Counted(r.Listeners, "listener")
		if r.Listeners == 1 {
			who = "the only listener"
		}
	}
	says := fmt.Sprintf("%s, %s: %s. %s.", r.Comparison, who, r.Verdict, capital(r.Reason))
	switch r.Verdict {
	case HeardIt:
		says += " It does not say what was heard, nor that it sounds better."
	case RuledOut:
		says += " A smaller effect stays possible."
	}
	return says
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// settle adds the size and power of a further plan at the risk that remains after the earlier sessions. A planned test has at
// least all of it except what is kept for later, see stats.Step.
func settle(r *tallied, m memo) {
	chance := r.design.Chance()
	smallest := stats.FromDiscriminators(r.Smallest, chance)
	sat := statsSittings(r.sittings)
	w := planKey{r.Smallest, chance, stats.NextLevel(stats.Upward(sat, chance, r.level()), r.level()),
		stats.NextLevel(stats.Downward(sat, chance, smallest, r.alpha), r.alpha)}
	f := m.settling(w)
	if p := r.sittings[len(r.sittings)-1].heard.Plan; p.Conditional() && f.trials > 0 {
		p.Alpha = w.hear
		if power := m.power(p, f.trials, smallest); !math.IsNaN(power) {
			f.heard = power
		}
	}
	if r.TrialsToSettle = f.trials; f.trials == 0 {
		return
	}
	r.Reason += fmt.Sprintf("; a fresh plan of %d trials would find a difference that is heard on %.3g %% of them with a chance of %.2f, and exclude it with %.2f where nothing is heard",
		f.trials, 100*r.Smallest, f.heard, f.ruledOut)
}

// plain is the verdict that the counts alone give.
func plain(r *tallied) (Verdict, string) {
	if r.Log10PStudy <= math.Log10(r.alpha)+stats.TailAccuracy && r.PStudy < 1 {
		return HeardIt, fmt.Sprintf("%d of %d right; p %s over the whole study, where at most %g counts as heard", r.Correct, r.Trials, Probability(r.PStudy), r.alpha)
	}
	if r.Trials == 0 {
		return Undecided, "nothing was answered"
	}
	if r.design.ByRates() && !bothKinds(r.pairs) {
		return Undecided, "pairs of only one kind were answered"
	}
	if r.WrongWay = r.Log10PBelow <= math.Log10(r.alpha/2)+stats.TailAccuracy && !r.Sequential; r.WrongWay {
		return Undecided, fmt.Sprintf("reliably wrong, %d of %d right (two-sided p %s): told apart, and named the wrong way round", r.Correct, r.Trials, Probability(r.PTwoSided))
	}
	whose := ""
	if r.Kind != "listener" && r.Listeners > 1 {
		whose = fmt.Sprintf("for the average of these %d listeners, not for each: ", r.Listeners)
	}
	if r.UpperPD < r.Smallest*(1+stats.TailAccuracy) {
		return RuledOut, fmt.Sprintf("%d of %d right%s; %sa difference that is heard on %.1f %% of trials or more is excluded (at level %g for this row; the plan asked for %.3g %%)",
			r.Correct, r.Trials, r.Guessed(), whose, 100*r.UpperPD, r.alpha, 100*r.Smallest)
	}
	return Undecided, fmt.Sprintf("%s%d of %d right (p %s over the whole study): that neither shows a difference nor excludes one that is heard on up to %.1f %% of trials; the plan asked for %.3g %%",
		whose, r.Correct, r.Trials, Probability(r.PStudy), 100*r.UpperPD, 100*r.Smallest)
}

// Guessed is ", as guessing would give" where the number of right answers is common by guessing, by the row's own p, and ""
// elsewhere.
func (r Row) Guessed() string {
	if r.P > r.Alpha {
		return ", as guessing would give"
	}
	return ""
}

// countHearing sets how many listeners of each sum hear it by themselves.
func countHearing(rows []*tallied) {
	for _, sum := range rows {
		if sum.Kind == "listener" {
			continue
		}
		by := HeardBy{}
		for _, r := range rows {
			if r.evidence != sum.evidence || !r.counted() || sum.Kind == "group" && r.Group != sum.Group || r.Verdict == Void {
				continue
			}
			by.Of++
			if r.Verdict == HeardIt {
				by.Count++
			}
		}
		sum.HeardBy = &by
		if by.Count > 0 && sum.Verdict != HeardIt && by.Of > 1 {
			sum.Reason += fmt.Sprintf("; %d of %d listeners hear it by themselves", by.Count, by.Of)
		}
	}
}

// LeakAlpha is the level at which a negative control counts as passed. It is tested in every session: at the plan's own level,
// often 0.05, one honest session in twenty would be void (judgement, no source; TestAListenerLeaksAtOneInAHundred holds it).
const LeakAlpha = 0.01

// CanTrip reports whether n negative controls of a design can reveal a leak at all.
func CanTrip(d trials.Design, n int) bool {
	return Control{Trials: n, Correct: n, asked: []stats.Guesses{{Trials: n, Chance: d.Chance()}}}.Leaks()
}

// LeastNegative is the smallest number of negative controls of a design that can reveal a leak.
func LeastNegative(d trials.Design) int {
	n := 1
	for !CanTrip(d, n) {
		n++
	}
	return n
}

// passed reports whether a control was right more often than chance allows.
func (c Control) passed(alpha float64) bool {
	return c.Trials > 0 && stats.GuessesReach(c.Correct, c.asked, alpha)
}

// attentiveRate is the proportion of right answers of a listener who hears a plain difference; the rest are slips (common
// practice, no source).
const attentiveRate = 0.95

// Missed reports whether these positive controls are consistent with guessing at a level, and not with an attentive listener who slips.
func (c Control) Missed(alpha float64) bool {
	if c.Trials == 0 || c.passed(alpha) || !stats.GuessesReach(c.Trials, c.asked, alpha) {
		return false
	}
	b, err := stats.BinomialTest(c.Correct, c.Trials, attentiveRate)
	return err == nil && b.Below <= alpha
}

// Leaks reports whether these negative controls were right more often than chance allows at LeakAlpha.
func (c Control) Leaks() bool { return c.passed(LeakAlpha) }

// weaken puts before a null result the confounds that would let somebody who did not listen produce it.
func weaken(r *tallied) {
	if r.Positive.Trials == 0 {
		r.Confounds = append(r.Confounds, Confound{Name: "no positive control", Value: math.NaN(), Limit: math.NaN(),
			Says: "the plan had no positive control: nothing shows that a plain difference would have been heard here"})
	}
	weak := cited(r.Confounds, func(c Confound) bool {
		return slices.Contains([]string{"no positive control", "hurried", "silent", "blindness"}, c.Name)
	})
	if weak != "" {
		r.Reason = "weakened by: " + weak + ". " + r.Reason
	}
}

// cited returns the text of the confounds that meet a condition, for the reason, and marks them as mentioned there.
func cited(all []Confound, meets func(Confound) bool) string {
	var says []string
	for i := range all {
		if meets(all[i]) {
			all[i].InReason = true
			says = append(says, all[i].Says)
		}
	}
	return strings.Join(says, "; ")
}

// coversJitterAndNoise reports whether the replay chain exceeds the chains in all of random jitter, lines and noise that were
// measured.
func coversJitterAndNoise(r *tallied) bool {
	if r.Treatment != "" {
		return len(r.masks) > 0 // the dose is the only difference
	}
	known := 0
	for _, p := range r.Measured.Figures {
		if (p.Metric == RandomJitter || p.Metric == DeterministicJitter || p.Metric == Noise) && !math.IsNaN(math.Max(p.A, p.B)) && !p.none() {
			known++
		}
	}
	covered := 0
	for _, m := range []Metric{RandomJitter, DeterministicJitter, Noise} {
		if slices.ContainsFunc(r.masks, func(own mask) bool { return own.metric == m }) {
			covered++
		}
	}
	return known > 0 && covered == known
}
