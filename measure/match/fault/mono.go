package fault

import "fmt"

// The channels of a mono capture are equal to 30 dB, but for a recorder's noise; the other's must differ by ten times as much in amplitude, since
// what narrows the stereo picture a little is no switch and no wrong cable. Judgement, no source; TestOneCaptureIsMono holds the first.
const (
	monoUnlike = 1e-3
	monoRatio  = 1e-2
)

// MonoText says which capture is mono while the other is not, or "".
func MonoText(a, b *Capture) string {
	for _, way := range []struct {
		name, other string
		own, wide   float64
	}{{"B", "A", b.width.unlike(), a.width.unlike()}, {"A", "B", a.width.unlike(), b.width.unlike()}} {
		if way.own < monoUnlike && way.own < monoRatio*way.wide && way.wide > monoUnlike {
			return fmt.Sprintf("the channels of %s are identical, those of %s are not: %s is mono", way.name, way.other, way.name)
		}
	}
	return ""
}
