package screen

import (
	"strings"

	"github.com/charmbracelet/bubbles/key"

	"heardiff/trials"
)

// keys are the bindings of the full screen; the help is printed from them, so that it cannot disagree.
type keys struct {
	play    []key.Binding // in the order of the design's labels
	answers []key.Binding // likewise of its answers
	pause, restart,
	in, out, all,
	confidence, confirm, back,
	void, rest, help, leave key.Binding
	edges []edge
	// These turn the pages of text.
	up, down, pageUp, pageDown key.Binding
}

// edge is a key that moves an end of the loop by so many seconds.
type edge struct {
	key      key.Binding
	from, to float64
}

// edges are the keys of both steps. Not every terminal passes on the arrows with shift: each has another key as well.
func edges() []edge {
	return []edge{
		{bind([]string{"left"}, "←", "loop begins 0.1 s earlier"), -step, 0},
		{bind([]string{"right"}, "→", "loop begins 0.1 s later"), step, 0},
		{bind([]string{"down"}, "↓", "loop ends 0.1 s earlier"), 0, -step},
		{bind([]string{"up"}, "↑", "loop ends 0.1 s later"), 0, step},
		{bind([]string{",", "shift+left"}, ", ⇧←", "loop begins 1 s earlier"), -leap, 0},
		{bind([]string{".", "shift+right"}, ". ⇧→", "loop begins 1 s later"), leap, 0},
		{bind([]string{"<", "shift+down"}, "< ⇧↓", "loop ends 1 s earlier"), 0, -leap},
		{bind([]string{">", "shift+up"}, "> ⇧↑", "loop ends 1 s later"), 0, leap},
	}
}

func bind(keys []string, shown, does string) key.Binding {
	return key.NewBinding(key.WithKeys(keys...), key.WithHelp(shown, does))
}

func keysFor(d trials.Design) keys {
	k := keys{
		pause:      bind([]string{" "}, "space", "pause, go on"),
		restart:    bind([]string{"r"}, "r", "from the start of the loop"),
		in:         bind([]string{"i"}, "i", "tap: the loop begins here"),
		out:        bind([]string{"o"}, "o", "tap: the loop ends here"),
		all:        bind([]string{"w"}, "w", "loop the whole excerpt"),
		edges:      edges(),
		up:         bind([]string{"up", "k"}, "↑", "one line up"),
		down:       bind([]string{"down", "j"}, "↓", "one line down"),
		pageUp:     bind([]string{"pgup", "b"}, "page up", "one page up"),
		pageDown:   bind([]string{"pgdown", " "}, "page down", "one page down"),
		confidence: bind([]string{"c"}, "c", "how sure: 1 guess … 4 certain"),
		confirm:    bind([]string{"enter"}, "enter", "confirm the answer"),
		back:       bind([]string{"esc"}, "esc", "take the answer back"),
		void:       bind([]string{"v"}, "v", "disturbed: void this trial"),
		rest:       bind([]string{"t"}, "t", "take a rest"),
		help:       bind([]string{"?"}, "?", "this help"),
		leave:      bind([]string{"q", "ctrl+c"}, "q", "leave"),
	}
	for _, b := range d.PlayKeys() {
		k.play = append(k.play, bind(b.Keys, shownKeys(b.Keys), b.Help))
	}
	for _, b := range d.AnswerKeys() {
		k.answers = append(k.answers, bind(b.Keys, b.Keys[0], b.Help))
	}
	return k
}

// shownKeys names the keys of a binding in the help, without the capitals.
func shownKeys(all []string) string {
	var shown []string
	for _, k := range all {
		if k == strings.ToLower(k) {
			shown = append(shown, k)
		}
	}
	return strings.Join(shown, " ")
}

// list returns the bindings in the order of the help; where a helper switches there is no sound to steer.
func (k keys) list(byHand bool) []key.Binding {
	l := append([]key.Binding{}, k.play...)
	l = append(l, k.answers...)
	l = append(l, k.confidence, k.confirm, k.back)
	if !byHand {
		l = append(l, k.pause, k.restart, k.in, k.out)
		for _, e := range k.edges {
			l = append(l, e.key)
		}
		l = append(l, k.all)
	}
	return append(l, k.rest, k.void, k.help, k.leave)
}
