package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"heardiff/trials/study"
)

func (a *app) measureStudy(ctx context.Context, again bool, o study.MeasureOptions) error {
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	r, err := s.Measure(ctx, again, o)
	if err != nil {
		return err
	}
	text := func(w io.Writer) { measuredText(w, r) }
	if failed := r.Unmeasured(); failed != nil { // what is wrong with a capture comes first
		return errors.Join(a.print(r, text), failed)
	}
	return a.printStep(ctx, s, r, text)
}

func measuredText(w io.Writer, r study.MeasureReport) {
	if len(r.Measured)+len(r.Failed) == 0 {
		fmt.Fprintln(w, "nothing new to measure; --again measures all once more")
		return
	}
	t := newTable("capture", "chain", "kind", "channel 1")
	t.right(0)
	for _, m := range r.Measured {
		t.row(fmt.Sprint(m.Capture), m.Chain, m.Kind, mainFigures(m))
	}
	t.print(w, "")
	warningsOfCaptures(w, r)
	if r.Late > 0 {
		fmt.Fprintln(w, `"heardiff measure --again" measures all anew`)
	}
}

// mainFigures returns the main figures of the first channel.
func mainFigures(m study.MeasuredCapture) string {
	k, ok := kindNamed(m.Kind)
	if !ok {
		return ""
	}
	return k.shown.figuresOf(m.Result)
}
