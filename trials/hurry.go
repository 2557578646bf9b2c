package trials

import "math"

// LeastSeconds is the least time, in seconds, for which what the design wants heard must have sounded in a trial
// unless its plan says otherwise: shorter looks are no comparison. Common practice, no source.
const LeastSeconds = 0.5

// hurried reports whether an answer came before what must be heard had sounded for as long as the plan asks. It is false
// where no sample clock ran or the plan asks for nothing.
func (p Plan) hurried(e Entry) bool {
	if p.LeastSeconds <= 0 || e.RateHz <= 0 {
		return false
	}
	return !p.Design.heardFor(e.Heard, int64(math.Ceil(p.LeastSeconds*float64(e.RateHz))))
}

// listened returns for how many seconds each label sounded, nil where that is not known.
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

// took returns the seconds of the sample clock from the offer of a trial to its answer, nil where that is not known.
func took(e Entry) *float64 {
	if e.RateHz <= 0 {
		return nil
	}
	s := float64(e.Frames) / float64(e.RateHz)
	return &s
}
