package main

import (
	"context"
	"fmt"
	"io"

	"heardiff/measure/match"
	"heardiff/stats/warning"
	"heardiff/trials/study"
)

// suggested is what "prepare --suggest" prints: nothing is prepared yet.
type suggested struct {
	Schema      string                  `json:"schema"`
	Music       string                  `json:"music"`
	Excerpts    []study.PreparedExcerpt `json:"excerpts"`
	Suggestions []match.Suggestion      `json:"suggestions"`
	warning.Warnings
}

// fewerFound warns that the music holds fewer stretches than were asked for; Value is how many it holds.
const fewerFound warning.Code = "fewer-found"

// suggest names stretches of the captured music that are worth listening to.
func (a *app) suggest(ctx context.Context, o prepareOptions) error {
	if o.excerpt != "" || o.name != "" || o.ladder.quantity != "" {
		return misusedf("--suggest only looks: it goes without --excerpt, --name and --ladder")
	}
	cfg := match.SuggestConfig{Count: o.suggest, LengthS: o.length}
	if o.suggest < 1 || !(o.length > 0) || cfg.Validate() != nil {
		return misusedf("--suggest %d --length %g: 1 to 100 stretches of 1 to 600 s", o.suggest, o.length)
	}
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	piece, found, err := s.Suggest(ctx, o.music, cfg)
	if err != nil {
		return err
	}
	r := suggested{Schema: "heardiff.prepare/1", Music: piece, Suggestions: found}
	if len(found) < o.suggest {
		r.Warn(warning.Newf(fewerFound, "the music holds %d such stretches, %d were asked for", len(found), o.suggest).Of(float64(len(found)), "stretches"))
	}
	return a.print(r, func(w io.Writer) { r.text(w) })
}

func (r suggested) text(w io.Writer) {
	t := newTable("start (s)", "length (s)", "what", "figure", "of")
	t.right(0, 1, 3)
	for _, v := range r.Suggestions {
		t.row(figure(v.StartS, "%.2f"), figure(v.Seconds, "%.1f"), v.Kind, figure(v.Value, "%.1f"), v.Unit)
	}
	t.print(w, "")
	if len(r.Suggestions) > 0 {
		v := r.Suggestions[0]
		fmt.Fprintf(w, "\nheardiff prepare --music %s --excerpt %.2f:%.4g  cuts the first of them\n", r.Music, v.StartS, v.Seconds)
	}
	warningLines(w, "\nwarning: ", r.Warnings)
}
