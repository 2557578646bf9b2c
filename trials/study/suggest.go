package study

import (
	"context"

	"heardiff/measure/match"
)

// Suggest names stretches of the captured music that are worth listening to, and the piece.
func (s *Study) Suggest(ctx context.Context, music string, cfg match.SuggestConfig) (piece string, found []match.Suggestion, err error) {
	captures, err := s.musicCaptures(ctx, music, 1)
	if err != nil {
		return "", nil, err
	}
	readers, done, err := s.openCaptures(ctx, captures, "looking for stretches in")
	if err != nil {
		return "", nil, err
	}
	defer done()
	cfg.Names = captureNames(captures)
	found, err = match.Suggest(readers, cfg)
	return captures[0].Music, found, unmatched(err, phrasef("ask for a shorter %v, or record longer", OptionLength))
}
