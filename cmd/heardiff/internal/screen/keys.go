package screen

import (
	"github.com/charmbracelet/bubbles/key"

	"heardiff/trials"
)

// keys are the bindings of the full screen; the help is printed from them, so that it cannot disagree.
type keys struct {
	play    []key.Binding // in the order of the design's labels
	answers []key.Binding // likewise of its answers
	pause, restart,
	in, out, all, startLess, startMore, endLess, endMore,
	confidence, confirm, back,
	void, rest, help, leave key.Binding
}

func bind(keys []string, shown, does string) key.Binding {
	return key.NewBinding(key.WithKeys(keys...), key.WithHelp(shown, does))
}

func keysFor(d trials.Design) keys {
	k := keys{
		pause:      bind([]string{" "}, "space", "pause, go on"),
		restart:    bind([]string{"r"}, "r", "from the start of the loop"),
		in:         bind([]string{"i"}, "i", "loop begins here"),
		out:        bind([]string{"o"}, "o", "loop ends here"),
		all:        bind([]string{"w"}, "w", "loop the whole excerpt"),
		startLess:  bind([]string{"left"}, "←", "loop begins 0.1 s earlier"),
		startMore:  bind([]string{"right"}, "→", "loop begins 0.1 s later"),
		endLess:    bind([]string{"down"}, "↓", "loop ends 0.1 s earlier"),
		endMore:    bind([]string{"up"}, "↑", "loop ends 0.1 s later"),
		confidence: bind([]string{"c"}, "c", "how sure: 1 to 4, or not said"),
		confirm:    bind([]string{"enter"}, "enter", "confirm the answer"),
		back:       bind([]string{"esc"}, "esc", "take the answer back"),
		void:       bind([]string{"v"}, "v", "disturbed: void this trial"),
		rest:       bind([]string{"t"}, "t", "take a rest"),
		help:       bind([]string{"?"}, "?", "this help"),
		leave:      bind([]string{"q", "ctrl+c"}, "q", "leave"),
	}
	for _, b := range d.PlayKeys() {
		k.play = append(k.play, bind(b.Keys, b.Keys[0], b.Help))
	}
	for _, b := range d.AnswerKeys() {
		k.answers = append(k.answers, bind(b.Keys, b.Keys[0], b.Help))
	}
	return k
}

// list returns the bindings in the order of the help.
func (k keys) list() []key.Binding {
	l := append([]key.Binding{}, k.play...)
	l = append(l, k.pause, k.restart, k.in, k.out, k.startLess, k.startMore, k.endLess, k.endMore, k.all)
	l = append(l, k.answers...)
	return append(l, k.confidence, k.confirm, k.back, k.void, k.rest, k.help, k.leave)
}
