package trials

import "heardiff/stats"

// SameDifferent asks whether the two presentations of a pair are the same or different. Two of the four pairs are the same
// and two are different, so that 'same' is right half of the time. That holds in a negative control too: if all its pairs
// counted as same, a listener who always says 'same' would seem to hear.
var SameDifferent = Design{&design{
	name: "same-different", title: "duplicate pairs", words: "duplicate pair (are the two the same or different?)", resultKey: "same_different",
	question: "Are 1 and 2 the same, or different?", mustHear: "play both, 1 and 2, before you answer",
	presentations: []presentation{
		{LabelFirst, []string{"1"}, "hear the first"},
		{LabelSecond, []string{"2"}, "hear the second"},
	},
	answers: []choice{
		{AnswerSame, "s", "they are the same", "the two are the same"},
		{AnswerDifferent, "d", "they are different", "the two are different"},
	},
	needed: [][]int{{0}, {1}},
	dealt: []assignment{
		{[]Source{SourceA, SourceA}, AnswerSame},
		{[]Source{SourceB, SourceB}, AnswerSame},
		{[]Source{SourceA, SourceB}, AnswerDifferent},
		{[]Source{SourceB, SourceA}, AnswerDifferent},
	},
	// The procedure only gives chance and intervals: with byRates, hits and false alarms are tested.
	procedure: stats.ABXObservations, byRates: true,
}}

// The labels of a pair: its first presentation and its second.
const (
	LabelFirst  Label = "1"
	LabelSecond Label = "2"
)

// The answers to a pair.
const (
	AnswerSame      Answer = "same"
	AnswerDifferent Answer = "different"
)
