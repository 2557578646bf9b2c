package study

import (
	"testing"

	"heardiff/trials"
)

// The call that comes next names what is there: chains, pieces, excerpts, plans, listeners.
func TestTheNextStepNamesWhatIsThere(t *testing.T) {
	music := func(chain, piece string) Capture { return Capture{Chain: chain, Kind: Music.Name, Music: piece} }
	tone := func(chain string) Capture { return Capture{Chain: chain, Kind: Tone.Name} }
	both := func(name string) Excerpt {
		return Excerpt{Name: name, Presentations: []Presentation{{Excerpt: name, Chain: "a"}, {Excerpt: name, Chain: "b"}}}
	}
	dosed := Presentation{Excerpt: "e", Chain: "a", Treatment: "1 ps random jitter", Result: []byte(`{"dosed":{"words":"random jitter","dose":1,"unit":"ps"}}`)}
	pair := []string{"a", "b"}
	for _, c := range []struct {
		name string
		of   survey
		step func(survey) step
		want string
	}{
		{"no chain", survey{}, survey.chainsStep, `Study.AddChain (Name "direct")`},
		{"the usual names are taken", survey{sources: []string{"direct"}, taken: []string{"direct", "other"}}, survey.chainsStep, `Study.AddChain (Name "chain-1")`},
		{"two chains", survey{sources: pair}, survey.chainsStep, ""},
		{"one chain and a ladder", survey{sources: pair[:1], excerpts: []Excerpt{{Presentations: []Presentation{dosed}}}}, survey.chainsStep, ""},
		{"a signal of one", survey{sources: pair, captures: []Capture{tone("a")}}, survey.signalsStep, `Study.AddCapture (Chain "b", File "b-jitter.wav", Kind "jitter")`},
		{"a ladder needs no signal", survey{sources: pair[:1], excerpts: []Excerpt{{Presentations: []Presentation{dosed}}}}, survey.signalsStep, ""},
		{"a piece of one", survey{sources: pair, captures: []Capture{music("a", "suite")}}, survey.musicStep, `Study.AddCapture (Chain "b", File "b-music.wav", Kind "music", Music "suite")`},
		{"the piece of both", survey{sources: pair, captures: []Capture{music("a", "one"), music("a", "suite"), music("b", "suite")}}, survey.preparedStep, `Study.Prepare (Music "suite")`},
		{"captures without an excerpt", survey{sources: pair, captures: []Capture{music("a", "one"), music("b", "one")}}, survey.preparedStep, "Study.Prepare"},
		{"an excerpt", survey{sources: pair, excerpts: []Excerpt{both("e")}, trials: 9}, survey.planStep, `Study.NewPlan (Design "abx", A "a", B "b", Trials "9")`},
		{"two excerpts", survey{sources: pair, excerpts: []Excerpt{both("e"), both("f")}, trials: 9}, survey.planStep, `Study.NewPlan (Design "abx", A "a", B "b", Excerpt "e", Trials "9")`},
		{"a ladder", survey{sources: pair[:1], excerpts: []Excerpt{{Name: "e", Presentations: []Presentation{{Excerpt: "e", Chain: "a"}, dosed}}}}, survey.planStep,
			`Study.NewPlan (Threshold "random jitter", A "a", Excerpt "e")`},
		{"a plan asks for no captures", survey{sources: pair, plans: []trials.Plan{{ID: "1"}}}, survey.musicStep, ""},
		{"one of two has finished", survey{listeners: []Listener{{ID: "L1"}, {ID: "sim", Simulated: true}, {ID: "L2"}}, ended: map[[2]string]bool{{"7", "L1"}: true}}, func(v survey) step {
			return v.sessionsStep(trials.Plan{ID: "7"})
		}, `Study.Sit (Plan "7", Listener "L2")`},
		{"a kit sends back", survey{kit: true, out: "results.bundle"}, survey.outStep, `Study.Export (Out "results.bundle")`},
		{"a report that is out of date", survey{out: "report.html"}, survey.outStep, `Study.Link (Out "report.html")`},
		{"a report", survey{out: "report.html", written: true}, survey.outStep, ""},
	} {
		s := c.step(c.of)
		got := ""
		if s.next != nil {
			got = s.next.String()
		}
		if got != c.want || (c.want == "") != (s.missing == "") {
			t.Errorf("%s: next %q, missing %q; want %q", c.name, got, s.missing, c.want)
		}
	}
}
