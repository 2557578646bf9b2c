package study

import "context"

// Contents is what is in a study, in short.
type Contents struct {
	Schema string `json:"schema"`
	About
	Chains    []Chain         `json:"chains"`
	Captures  []Capture       `json:"captures"`
	Excerpts  []ListedExcerpt `json:"excerpts"`
	Plans     []string        `json:"plans"` // their ids
	Listeners []Listener      `json:"listeners"`
	Sessions  int             `json:"sessions"` // how many were begun
}

// ListedExcerpt is an excerpt as a list shows it.
type ListedExcerpt struct {
	Name    string  `json:"excerpt"`
	Music   string  `json:"music"`
	StartS  float64 `json:"start_s"`
	Seconds float64 `json:"seconds"`
}

// Contents returns what is in the study.
func (s *Study) Contents(ctx context.Context) (v Contents, err error) {
	v.Schema = "heardiff.study/1"
	if v.About, err = s.Study(ctx); err != nil {
		return v, err
	}
	if v.Chains, err = s.Chains(ctx); err != nil {
		return v, err
	}
	if v.Captures, err = s.Captures(ctx); err != nil {
		return v, err
	}
	if v.Listeners, err = s.Listeners(ctx); err != nil {
		return v, err
	}
	excerpts, err := s.Excerpts(ctx)
	if err != nil {
		return v, err
	}
	for _, e := range excerpts {
		v.Excerpts = append(v.Excerpts, ListedExcerpt{e.Name, e.Music, e.StartS, e.Seconds})
	}
	plans, err := s.Plans(ctx)
	if err != nil {
		return v, err
	}
	for _, p := range plans {
		v.Plans = append(v.Plans, p.ID)
	}
	sessions, err := s.Sessions(ctx)
	v.Sessions = len(sessions)
	return v, err
}

// CapturesOf returns how many captures there are of a chain.
func (v Contents) CapturesOf(chain string) int {
	n := 0
	for _, c := range v.Captures {
		if c.Chain == chain {
			n++
		}
	}
	return n
}
