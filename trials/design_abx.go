package trials

import "heardiff/stats"

// ABX asks which of A and B is X.
var ABX = Design{&design{
	name: "abx", title: "", words: "ABX (which of A and B is X?)", resultKey: "abx",
	question: "Which one is X?", ofDoses: "A is clean, B has something put in", mustHear: "play X, and A or B, before you answer",
	presentations: []presentation{
		{LabelA, []string{"a", "A", "1"}, "hear A"},
		{LabelB, []string{"b", "B", "2"}, "hear B"},
		{LabelX, []string{"x", "X", "3"}, "hear X"},
	},
	answers: []choice{
		{AnswerA, "j", "X is A", "X is A"},
		{AnswerB, "k", "X is B", "X is B"},
	},
	needed: [][]int{{2}, {0, 1}},
	dealt: []assignment{
		{[]Source{SourceA, SourceB, SourceA}, AnswerA},
		{[]Source{SourceA, SourceB, SourceB}, AnswerB},
	},
	procedure: stats.ABXObservations,
}}

// The labels of ABX.
const (
	LabelA Label = "a"
	LabelB Label = "b"
	LabelX Label = "x"
)

// The answers of ABX: X is A, X is B.
const (
	AnswerA Answer = "a"
	AnswerB Answer = "b"
)
