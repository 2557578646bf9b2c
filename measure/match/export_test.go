package match

import (
	"heardiff/measure/match/align"
	"heardiff/measure/match/audible"
	"heardiff/measure/match/residual"
	"heardiff/playback/pcm"
)

// ResponseOf returns the response of two clips that are aligned and equally loud, as Compare measures it once it has found so.
func ResponseOf(a, b pcm.Clip) ([]residual.ResponseBand, error) {
	k, err := audible.NewKernels(a.Rate)
	if err != nil {
		return nil, err
	}
	left, err := residual.Measure(a, b, align.Line{Sign: 1}, 1, 1, k.Exact)
	if err != nil {
		return nil, err
	}
	return left.Response(1), nil
}
