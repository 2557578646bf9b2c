package trials

import "heardiff/stats"

// ABX asks which of A and B is X.
var ABX = Design{&design{
	name: "abx", title: "", words: "ABX (which of A and B is X?)", resultKey: "abx",
	question: "Which one is X?", mustHear: "play X, and A or B, before you answer",
	presentations: []presentation{
		{LabelA, []string{"a", "A"}, "hear A"},
		{LabelB, []string{"b", "B"}, "hear B"},
		{LabelX, []string{"x", "X"}, "hear X"},
	},
	answers: []choice{
		{AnswerA, "1", "X is A", "X is A"},
		{AnswerB, "2", "X is B", "X is B"},
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
