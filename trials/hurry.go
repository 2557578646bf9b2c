package trials

import "math"

// LeastSeconds is the default of the shortest time, in seconds, for which everything that the design requires must have
// sounded in a trial: less is too short to compare. Common practice, no source.
const LeastSeconds = 0.5

// hurried reports whether an answer came before everything required had sounded for as long as the plan demands. It is false
// where no sample clock ran or the plan demands nothing.
func (p Plan) hurried(e Entry) bool {
	if p.LeastSeconds <= 0 || e.RateHz <= 0 {
		return false
	}
	return !p.Design.heardFor(e.Heard, int64(math.Ceil(p.LeastSeconds*float64(e.RateHz))))
}

// listened returns for how many seconds each label sounded, nil where unknown.
func (d Design) listened(e Entry) map[Label]float64 {
	labels := d.Labels()
	if e.RateHz <= 0 || len(e.Heard) != len(labels) {
		return nil
	}
	all := map[Label]float64{}
	for i, l := range labels {
		all[l] = float64(e.Heard[i]) / float64(e.RateHz)
	}
	return all
}

// took returns the seconds of the sample clock from offering a trial to its answer, nil where unknown.
func took(e Entry) *float64 {
	if e.RateHz <= 0 {
		return nil
	}
	s := float64(e.Frames) / float64(e.RateHz)
	return &s
}
