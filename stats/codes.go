package stats

import "heardiff/stats/warning"

// The codes of the warnings of scores.
const (
	CannotDecide  warning.Code = "cannot-decide"   // not even all answers right reach α; Value is the number of trials
	ChanceInside  warning.Code = "chance-inside"   // α is reached, and the two-sided interval holds chance; Value is its lower end
	ReliablyWrong warning.Code = "reliably-wrong"  // Value is the p of so few right answers
	BoundOnly     warning.Code = "bound-only"      // α is not reached: more than Value, a proportion of discriminators, is ruled out
	UnequalPairs  warning.Code = "unequal-pairs"   // more pairs of one kind; Value is the proportion correct with both kinds alike
	RatesAdjusted warning.Code = "rates-adjusted"  // a rate was 0 or 1: d′ and criterion use the log-linear correction
	RowsAdded     warning.Code = "rows-added"      // several rows of a listener were added up; Value is the number of listeners
	GroupsLeftOut warning.Code = "groups-left-out" // only the first two groups are compared; Value is the number of groups
	// ListenersDiffer: by more than chance; Value is the p of their heterogeneity.
	ListenersDiffer warning.Code = "listeners-differ"
	// HeardBySome: the total does not reach α, and Value of the listeners do.
	HeardBySome    warning.Code = "heard-by-some"
	ListenersWrong warning.Code = "listeners-wrong" // Value of several listeners are reliably wrong
	DifferenceCut  warning.Code = "difference-cut"  // the interval of the difference of groups ends at ±1
)

// The codes of the warnings of meta-analyses.
const (
	FewSites      warning.Code = "few-sites"     // Value is how many
	SitesAgree    warning.Code = "sites-agree"   // more closely than sampling explains; Value is Q
	Overdispersed warning.Code = "overdispersed" // listeners of one site differ; Value is the dispersion
)

// The codes of the warnings of fitted curves.
const (
	NoRise           warning.Code = "no-rise"            // the answers do not rise with the dose
	StepCurve        warning.Code = "step"               // the slope has no upper end
	OutsideDoses     warning.Code = "outside-doses"      // Value, the threshold, lies outside the doses tested
	PoorFit          warning.Code = "poor-fit"           // Value is the p of the deviance
	FewDoses         warning.Code = "few-doses"          // Value is how many: threshold and slope reflect the shape assumed
	FewListeners     warning.Code = "few-listeners"      // Value is how many: their standard deviation is little more than a guess
	NoLowerThreshold warning.Code = "no-lower-threshold" // the doses tested do not bound the threshold from below
	NoUpperThreshold warning.Code = "no-upper-threshold" // nor from above
	Unbounded        warning.Code = "unbounded"          // on neither side
)

// The codes of the notes of diagnostics. Value is the p of each.
const (
	HalvesDiffer  warning.Code = "halves-differ"
	AccuracyRose  warning.Code = "accuracy-rose"
	AccuracyFell  warning.Code = "accuracy-fell"
	RunsOfRight   warning.Code = "runs-of-right"   // too few or too many runs of right and of wrong answers
	RunsOfAnswers warning.Code = "runs-of-answers" // too few or too many runs of one answer
	OnePreferred  warning.Code = "one-preferred"   // one of the two answers
	SameInARow    warning.Code = "same-in-a-row"   // one answer, many times
	Alternating   warning.Code = "alternating"     // the two answers in turn, many times
)
