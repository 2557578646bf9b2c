package match

import (
	"fmt"

	"heardiff/playback/pcm"
)

// moved says how captures were brought to a common time base: what that did to all of them alike.
func moved(whole bool, rate pcm.Rate) string {
	if whole {
		return "moved by whole samples: not interpolated, not filtered"
	}
	nyquist := rate.Hz() / 2000
	return fmt.Sprintf("interpolated on a common time base and low-passed, all alike: passed up to %.2f kHz, nothing from %.2f kHz on (%.3f and %.2f of half the sample rate)",
		passedTo*nyquist, exactTo*nyquist, passedTo, exactTo)
}

// changes says what was done to all presentations alike. What was done to each stands in its figures.
func (p *preparation) changes() []string {
	return []string{
		moved(p.whole(), p.rate),
		fmt.Sprintf("faded in and out over %.3g ms (raised cosine)", 1000*p.cfg.FadeS),
		"rounded to 32-bit float",
	}
}
