package match

import "heardiff/playback/pcm"

// ResponseOf returns the response of two clips that are aligned and equally loud, as Compare measures it once it has found so.
func ResponseOf(a, b pcm.Clip) ([]ResponseBand, error) {
	k, err := bandKernels(a.Rate)
	if err != nil {
		return nil, err
	}
	left, err := residual(a, b, line{sign: 1}, 1, 1, k.exact)
	if err != nil {
		return nil, err
	}
	return left.response(1), nil
}
