package trials

import "heardiff/stats"

// Triangle asks which of three presentations is the odd one: two are the same and one differs, in one of six orders.
// In a negative control all three are the same audio, and each answer is right in a third of the trials.
//
// ref: ISO 4120:2021, Sensory analysis — Methodology — Triangle test: the six orders, and chance 1/3.
var Triangle = Design{&design{
	name: "triangle", title: "triangles", words: "triangle (which of three is the odd one?)", resultKey: "triangle",
	question: "Which one is the odd one: 1, 2 or 3?", mustHear: "play all three, 1, 2 and 3, before you answer",
	presentations: []presentation{
		{"1", []string{"1"}, "hear the first"},
		{"2", []string{"2"}, "hear the second"},
		{"3", []string{"3"}, "hear the third"},
	},
	answers: []choice{
		{"1", "j", "1 is odd", "1 is the odd one"},
		{"2", "k", "2 is odd", "2 is the odd one"},
		{"3", "l", "3 is odd", "3 is the odd one"},
	},
	needed: [][]int{{0}, {1}, {2}},
	dealt: []assignment{
		{[]Source{SourceA, SourceB, SourceB}, "1"},
		{[]Source{SourceA, SourceA, SourceB}, "3"},
		{[]Source{SourceA, SourceB, SourceA}, "2"},
		{[]Source{SourceB, SourceA, SourceA}, "1"},
		{[]Source{SourceB, SourceB, SourceA}, "3"},
		{[]Source{SourceB, SourceA, SourceB}, "2"},
	},
	procedure: stats.Triangle,
}}
