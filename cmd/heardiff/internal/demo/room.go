package demo

import (
	"math"

	"heardiff/playback/pcm"
)

// roomLines are the lengths of the room's eight delay lines in seconds, without common factors so that their
// echoes do not pile up.
var roomLines = [8]float64{0.0297, 0.0371, 0.0411, 0.0437, 0.0503, 0.0533, 0.0617, 0.0671}

// room returns the clip in a small room: a feedback delay network (Jot and Chaigne, AES 90th Convention, 1991)
// whose lines are mixed by a Householder matrix, with about 0.9 s of reverberation and soft walls.
func room(dry pcm.Clip) pcm.Clip {
	const (
		decaySeconds = 0.9
		wet          = 0.16
		damping      = 0.35 // of the high partials, at each turn
	)
	var lines [8][]float64
	var gain, damped [8]float64
	for k, s := range roomLines {
		lines[k] = make([]float64, max(1, int(s*dry.Rate.Hz())))
		gain[k] = math.Pow(10, -3*s/decaySeconds) // −60 dB after decaySeconds
	}
	out := dry.Clone()
	var pos [8]int
	for i := range dry.Len() {
		l, r := dry.Channels[0][i], dry.Channels[1][i]
		sum := 0.0
		var tap [8]float64
		for k := range lines {
			damped[k] += (1 - damping) * (lines[k][pos[k]] - damped[k])
			tap[k] = gain[k] * damped[k]
			sum += tap[k]
		}
		for k := range lines {
			in := l
			if k%2 == 1 {
				in = r
			}
			lines[k][pos[k]] = in + tap[k] - sum/4
			pos[k] = (pos[k] + 1) % len(lines[k])
		}
		out.Channels[0][i] += wet * (tap[0] - tap[2] + tap[4] - tap[6])
		out.Channels[1][i] += wet * (tap[1] - tap[3] + tap[5] - tap[7])
	}
	return out
}
