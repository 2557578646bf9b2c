package link

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"heardiff/stats"
	"heardiff/trials"
)

// Verdict is what a row says.
type Verdict string

// The verdicts.
const (
	HeardIt   Verdict = "heard"
	RuledOut  Verdict = "ruled out"
	Undecided Verdict = "undecided"
	Void      Verdict = "void"
)

// Confound is something besides the chains' jitter and noise that could explain a result. Voids says that it is large
// enough to be heard itself.
type Confound struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	Limit float64 `json:"limit"`
	Unit  string  `json:"unit"`
	Voids bool    `json:"voids"`
	Says  string  `json:"says"`
	// InReason marks what the reason of the verdict says already.
	InReason bool `json:"-"`
}

func (c Confound) voids() bool { return c.Voids }

// What may remain between two presentations. Level: the match used in a published long blind comparison, under 0.1 dB
// per channel (Meyer and Moran, supplement to JAES 55(9), 2007). Alignment: common practice, no source. Response: the least
// just-noticeable difference in level of most sounds, 0.5 dB (Open University, OpenLearn "Hearing", 10.3).
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
		return procedure(r) // whatever differs between an excerpt and itself with a dose is the dose's doing
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

// procedure names what in the running of the sessions weakens them.
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
	add := func(name string, n int, says string) {
		if n > 0 {
			out = append(out, Confound{Name: name, Value: float64(n), Says: fmt.Sprintf(says, n)})
		}
	}
	add("silent", silent, "%d sessions were answered, wholly or in part, where no device sounded: nobody can have heard anything there")
	add("hurried", hurried, "%d answers were hurried: given before what the plan wants heard had sounded for as long as it wants")
	add("single blind", helper, "%d sessions were run by a helper who knew what was connected")
	add("given up", gaveUp, "%d sessions ended early, so their number of trials was not that of the plan")
	add("void trials", voids, "%d trials were void and asked again")
	add("playback", flags, "%d events in playback were flagged")
	return out
}

// mask is a figure in which the replay chain exceeds what is under test, so that the test could not have shown a difference in it.
type mask struct {
	metric Metric
	says   string
}

// masked returns the figures in which the replay chain itself exceeds what is under test.
func masked(m Measured, chains []Chain) []mask {
	var out []mask
	for _, c := range chains {
		if c.Role != "replay" {
			continue
		}
		for _, p := range m.Figures {
			own, _ := c.figure(p.Metric)
			larger := math.Max(p.A, p.B)
			if own >= larger { // false where either is unknown: at its floor the replay chain is known only to be below it
				out = append(out, mask{p.Metric, fmt.Sprintf("%s: the replay chain %q has %.3g %s, the chains under test at most %.3g", p.Name, c.Name, own, p.Unit, larger)})
			}
		}
	}
	return out
}

// decide gives the verdict by the rules of the package comment.
func decide(r *tallied, m memory) {
	r.Verdict, r.Reason = plain(r)
	switch {
	case r.leak != nil:
		r.Verdict = Void
		r.Reason = fmt.Sprintf("the negative control was passed, %d of %d right where both sounds were the same: something besides sound tells them apart", r.leak.Correct, r.leak.Trials)
	case len(r.sittings) == 0:
		r.Verdict, r.Reason = Void, fmt.Sprintf("all %d sessions are void", r.LeftOut)
	case r.Verdict == HeardIt && slices.ContainsFunc(r.Confounds, Confound.voids):
		r.Verdict = Void
		r.Reason = "told apart, but " + cited(r.Confounds, Confound.voids) + ": that alone could be what was heard"
	case r.Verdict != HeardIt && r.Kind == "listener" && allInattentive(r.sittings):
		r.Verdict = Void
		r.Reason = fmt.Sprintf("the positive control was missed, %d of %d right where the sounds differ plainly: missing others shows nothing", r.Positive.Correct, r.Positive.Trials)
	case r.Verdict == HeardIt && len(r.Confounds) > 0:
		r.Reason = "could be explained first by: " + cited(r.Confounds, func(Confound) bool { return true }) + ". " + r.Reason
	case r.Verdict == RuledOut && coversJitterAndNoise(r):
		r.Verdict = Undecided
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

// Says is the row in a sentence: who, what, the verdict and why. Every screen that tells a verdict prints it.
func (r Row) Says() string {
	who := r.Listener
	switch r.Kind {
	case "group":
		who = "group " + r.Group
	case "all":
		who = fmt.Sprintf("all %d listeners", r.Listeners)
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

// settle says what a fresh plan would do with the risk that earlier sessions left. Of it a planned test has at least all
// but what is kept for later, see stats.Step.
func settle(r *tallied, m memory) {
	chance := r.design.Chance()
	smallest := stats.FromDiscriminators(r.Smallest, chance)
	sat := bare(r.sittings)
	w := wanted{r.Smallest, chance, stats.NextLevel(stats.Upward(sat, chance, r.level()), r.level()),
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
	// A relative margin of 1e-9 is the accuracy to which tails are computed.
	if r.Log10PStudy <= math.Log10(r.alpha)+1e-9 && r.PStudy < 1 {
		return HeardIt, fmt.Sprintf("%d of %d right; p %s over the whole study, at most %g accepted", r.Correct, r.Trials, pText(r.PStudy), r.alpha)
	}
	if r.Trials == 0 {
		return Undecided, "nothing was answered"
	}
	if r.design.ByRates() && !bothKinds(r.pairs) {
		return Undecided, "pairs of only one kind were answered"
	}
	if r.Log10PBelow <= math.Log10(r.alpha/2)+1e-9 && !r.Sequential {
		return Undecided, fmt.Sprintf("reliably wrong, %d of %d right (two-sided p %s): told apart, and named the wrong way round", r.Correct, r.Trials, pText(r.PTwoSided))
	}
	whose := ""
	if r.Kind != "listener" && r.Listeners > 1 {
		whose = fmt.Sprintf("for the average of these %d listeners, not for each: ", r.Listeners)
	}
	if r.UpperPD < r.Smallest*(1+1e-9) {
		return RuledOut, fmt.Sprintf("%d of %d right%s; %sa difference that is heard on %.1f %% of trials or more is excluded (at level %g; the plan asked for %.3g %%)",
			r.Correct, r.Trials, r.Guessed(), whose, 100*r.UpperPD, r.alpha, 100*r.Smallest)
	}
	return Undecided, fmt.Sprintf("%s%d of %d right (p %s over the whole study): that neither shows a difference nor excludes one that is heard on up to %.1f %% of trials; the plan asked for %.3g %%",
		whose, r.Correct, r.Trials, pText(r.PStudy), 100*r.UpperPD, 100*r.Smallest)
}

// Guessed is ", as guessing would give" where so many right answers are no rarity among guessers, by the row's own p, and "" elsewhere.
func (r Row) Guessed() string {
	if r.P > r.Alpha {
		return ", as guessing would give"
	}
	return ""
}

// countHearing sets, for each sum, how many of its listeners hear it by themselves.
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

// LeakAlpha is the level at which a negative control counts as passed. It is looked at in every session, so that at the
// plan's own level, often 0.05, every twentieth honest session would be void (design choice).
const LeakAlpha = 0.01

// CanTrip reports whether so many negative controls of a design can show a leak at all.
func CanTrip(d trials.Design, n int) bool {
	return passed(Control{Trials: n, Correct: n, asked: []stats.Guesses{{Trials: n, Chance: d.Chance()}}}, LeakAlpha)
}

// LeastNegative is the smallest number of negative controls of a design that can.
func LeastNegative(d trials.Design) int {
	n := 1
	for !CanTrip(d, n) {
		n++
	}
	return n
}

// passed reports whether a control was right more often than chance allows.
func passed(c Control, alpha float64) bool {
	return c.Trials > 0 && stats.GuessesReach(c.Correct, c.asked, alpha)
}

// attentive is how often a listener who hears a plain difference is right; the rest are slips (common practice, no source).
const attentive = 0.95

// missed reports whether a positive control fits guessing, and does not fit an attentive listener with a slip or two.
func missed(c Control, alpha float64) bool {
	if c.Trials == 0 || passed(c, alpha) || !stats.GuessesReach(c.Trials, c.asked, alpha) {
		return false
	}
	b, err := stats.BinomialTest(c.Correct, c.Trials, attentive)
	return err == nil && b.Below <= alpha
}

// weaken names, before a null, what somebody who did not listen would have done to come to it.
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

// cited returns what those confounds say that meet a condition, for the reason, and marks them as being in it.
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

// coversJitterAndNoise reports whether the replay chain exceeds the chains in random jitter, lines and noise alike,
// as far as they were measured.
func coversJitterAndNoise(r *tallied) bool {
	if r.Treatment != "" {
		return len(r.masks) > 0 // the dose is all there is to hear
	}
	known := 0
	for _, p := range r.Measured.Figures {
		if (p.Metric == RandomJitter || p.Metric == DeterministicJitter || p.Metric == Noise) && !math.IsNaN(math.Max(p.A, p.B)) {
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

func pText(p float64) string {
	if p < 0.001 {
		return "<0.001"
	}
	return fmt.Sprintf("%.3f", p)
}
