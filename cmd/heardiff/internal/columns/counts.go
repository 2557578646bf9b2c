package columns

import (
	"fmt"

	"heardiff/stats"
)

// Listeners returns the counts of a table with the columns listener, group, correct and trials, and perhaps site.
func Listeners(t *Table) ([]stats.Listener, error) {
	listeners := make([]stats.Listener, len(t.cells))
	for i := range t.cells {
		correct, trials, err := t.score(i)
		if err != nil {
			return nil, err
		}
		if t.Text(i, "listener") == "" {
			return nil, fmt.Errorf("line %d: the listener has no name", t.lines[i])
		}
		if t.Has("site") && t.Text(i, "site") == "" {
			return nil, fmt.Errorf("line %d: the site has no name", t.lines[i])
		}
		listeners[i] = stats.Listener{Listener: t.Text(i, "listener"), Group: t.Text(i, "group"), Site: t.Text(i, "site"), Correct: correct, Trials: trials}
	}
	return listeners, nil
}

// Doses returns the counts of a table with the columns dose, correct and trials, and perhaps listener.
func Doses(t *Table) ([]stats.DosePoint, error) {
	points := make([]stats.DosePoint, len(t.cells))
	for i := range t.cells {
		dose, err := t.number(i, "dose")
		if err != nil {
			return nil, err
		}
		correct, trials, err := t.score(i)
		if err != nil {
			return nil, err
		}
		points[i] = stats.DosePoint{Dose: dose, Correct: correct, Trials: trials, Listener: t.Text(i, "listener")}
	}
	return points, nil
}
