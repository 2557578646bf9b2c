package trials

import "heardiff/stats"

// TwoInterval asks which of two presentations is B: the impaired one, or the dose (two-interval forced choice, 2-AFC). The
// other is A, the reference. In a negative control both are the same audio, and each answer is right in half of the trials.
//
// ref: Macmillan & Creelman (2005), Detection Theory, 2nd edition, chapter 7: d′ = √2·z(pc); from memory.
var TwoInterval = Design{&design{
	name: "two-interval", title: "two intervals", words: "two-interval forced choice (which of the two holds B?)", resultKey: "two_interval",
	question: "Which one is B, 1 or 2?", ofDoses: "B is the one with something put in", mustHear: "play both, 1 and 2, before you answer",
	presentations: []presentation{
		{"1", []string{"1"}, "hear the first"},
		{"2", []string{"2"}, "hear the second"},
	},
	answers: []choice{
		{"1", "j", "1 is B", "1 is B"},
		{"2", "k", "2 is B", "2 is B"},
	},
	needed: [][]int{{0}, {1}},
	dealt: []assignment{
		{[]Source{SourceA, SourceB}, "2"},
		{[]Source{SourceB, SourceA}, "1"},
	},
	procedure: stats.TwoChoices,
}}
